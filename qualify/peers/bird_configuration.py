"""The configuration of a routing peer: from its plan to BIRD's own words."""

from qualify.errors import PeerError
from qualify.plan.trial import PeerPlan

PROTOCOL = "dut"
"""What BIRD calls the session with the device, whatever the protocol."""

# No kernel protocol: what the peer learns and originates never reaches the tester's own table.
_FRAME = """\
log "{folder}/bird.log" all;
timeformat log iso long us;
router id {router_id};
protocol device {{ }}
protocol static origin {{
  ipv4 {{ }};
{routes}
}}
"""

_OSPF = """\
protocol ospf v2 {protocol} {{
  debug {{ states, events }};
  ipv4 {{ import all; export where source = RTS_STATIC; }};
  area 0 {{
    interface "{interface}" {{
      type ptp; hello {hello_s}; dead {hold_s}; retransmit 2; rx buffer large;
    }};
  }};
}}
"""

_BGP = """\
protocol bgp {protocol} {{
  debug {{ states, events }};
  local {address} as {local_as};
  neighbor {neighbor} as {dut_as};
  keepalive time {hello_s}; hold time {hold_s};
  connect retry time 1; connect delay time 1; error wait time 1, 5;
  graceful restart on;
  ipv4 {{ import all; export where source = RTS_STATIC; next hop self; }};
}}
"""


def write_configuration(plan: PeerPlan, *, folder: str) -> str:
    """Write the configuration of a peer whose files lie in that folder of the lab.

    Raises:
        PeerError: the plan asks for a protocol that this peer does not speak.
    """
    if plan.here.tester is None or plan.here.dut is None:
        raise PeerError(
            f"the plan gives the peer at {plan.port} no addresses",
            fix="put a peer on a path of kind igp or egp only",
        )
    template = {"ospf": _OSPF, "bgp": _BGP}.get(plan.protocol)
    if template is None:
        raise PeerError(
            f"the peer at {plan.port} cannot speak {plan.protocol}",
            fix="write protocol: ospf or protocol: bgp in the testbed",
        )
    frame = _FRAME.format(
        folder=folder,
        router_id=plan.here.tester.ip,
        routes="\n".join(f"  route {prefix} blackhole;" for prefix in plan.here.prefixes),
    )
    return frame + template.format(
        protocol=PROTOCOL,
        interface=plan.port,
        address=plan.here.tester.ip,
        neighbor=plan.here.dut.ip,
        local_as=plan.local_as,
        dut_as=plan.dut_as,
        hello_s=plan.hello_s,
        hold_s=plan.hold_s,
    )
