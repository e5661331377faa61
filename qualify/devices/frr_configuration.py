"""The configuration of a virtual device: from the testbed's addresses to FRR's own words."""

from qualify.plan.peers import dut_as, plan_peers
from qualify.plan.trial import PeerPlan
from qualify.testbed.testbed import Dut, PathKind, Testbed

GRACE_S = 60
"""How long the device asks its neighbors to keep its routes while it restarts."""

ROUTER_ID = "198.18.0.1"


def write_configuration(testbed: Testbed, dut: Dut) -> str:
    """Write what every release of this device is configured with, before its own additions.

    Graceful restart is on for both protocols (RFC 3623, RFC 4724); a release that cannot do it
    says so in its additions.
    """
    peers = [each for each in plan_peers(testbed) if testbed.port(each.port).attach.dut == dut.name]
    lines = ["frr defaults traditional", f"ip router-id {ROUTER_ID}", "log timestamp precision 6"]
    # The router's number comes first: an interface that is in an area already would greet under
    # another one, and every neighbor would see a second router come and go.
    lines += _write_ospf()
    for peer in peers:
        lines += _write_interface(testbed, peer)
    lines += _write_bgp(testbed, dut, [each for each in peers if each.protocol == "bgp"])
    return "\n".join([*lines, ""])


def switched_ports(testbed: Testbed, dut: Dut) -> dict[str, tuple[str, ...]]:
    """Return the device ports that each switched path joins, by the name of the path."""
    return {
        path.name: tuple(
            attach.port
            for attach in (testbed.port(name).attach for name in path.ports)
            if attach.dut == dut.name
        )
        for path in testbed.paths
        if path.kind is PathKind.L2
    }


def _write_interface(testbed: Testbed, peer: PeerPlan) -> list[str]:
    lines = [
        f"interface {testbed.port(peer.port).attach.port}",
        f" ip address {peer.here.dut}",
    ]
    if peer.protocol == "ospf":
        # The area comes last: with it the interface begins to greet, and must know its timers.
        lines += [
            " ip ospf network point-to-point",
            f" ip ospf hello-interval {peer.hello_s}",
            f" ip ospf dead-interval {peer.hold_s}",
            " ip ospf retransmit-interval 1",
            " ip ospf area 0",
        ]
    return [*lines, "exit"]


def _write_ospf() -> list[str]:
    return [
        "router ospf",
        f" ospf router-id {ROUTER_ID}",
        " timers throttle spf 10 50 500",
        " log-adjacency-changes",
        " capability opaque",
        f" graceful-restart grace-period {GRACE_S}",
        " graceful-restart helper enable",
        "exit",
    ]


def _write_bgp(testbed: Testbed, dut: Dut, peers: list[PeerPlan]) -> list[str]:
    lines = [
        f"router bgp {dut_as(testbed, dut.name)}",
        f" bgp router-id {ROUTER_ID}",
        " no bgp ebgp-requires-policy",
        " bgp graceful-restart",
        " bgp graceful-restart preserve-fw-state",
        f" bgp graceful-restart restart-time {GRACE_S}",
    ]
    for peer in peers:
        if peer.here.tester is not None:
            address = peer.here.tester.ip
            lines += [
                f" neighbor {address} remote-as {peer.local_as}",
                f" neighbor {address} timers {peer.hello_s} {peer.hold_s}",
                f" neighbor {address} timers connect 1",
                f" neighbor {address} advertisement-interval 0",
            ]
    return [*lines, "exit"]
