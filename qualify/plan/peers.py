"""The routing peers that a testbed needs: two for every routed path, one at each port."""

from qualify.plan.addressing import PortAddresses, address_testbed, routes_behind
from qualify.plan.trial import PeerPlan
from qualify.testbed.testbed import Path, PathKind, Testbed

DUT_AS = 65000
FIRST_PEER_AS = 65101

# Short timers, so that a lab sees within seconds what a network would see within a minute.
# Hello and dead interval, or keepalive and hold time, in seconds.
TIMERS_S = {"ospf": (1, 4), "bgp": (3, 9)}


def plan_peers(testbed: Testbed) -> tuple[PeerPlan, ...]:
    """Plan a peer for each port of each routed path.

    Every device has an autonomous system of its own, 65000 and up in the order of the file; every
    peer too, 65101 and up.

    Raises:
        PlanError: the routes do not fit into the benchmarking block.
    """
    addresses = address_testbed(testbed)
    ends = [
        (path, side) for path in testbed.paths if path.kind is not PathKind.L2 for side in (0, 1)
    ]
    return tuple(
        _plan_peer(testbed, path, side, here=addresses[path.ports[side]], number=number)
        for number, (path, side) in enumerate(ends)
    )


def dut_as(testbed: Testbed, dut: str) -> int:
    """Return the number of a device's autonomous system."""
    return DUT_AS + [each.name for each in testbed.duts].index(dut)


def _plan_peer(
    testbed: Testbed, path: Path, side: int, *, here: PortAddresses, number: int
) -> PeerPlan:
    protocol = path.protocol or ""
    hello_s, hold_s = TIMERS_S[protocol]
    return PeerPlan(
        port=here.port,
        path=path.name,
        kind=path.kind,
        protocol=protocol,
        here=here,
        expected_routes=routes_behind(path, 1 - side),
        local_as=FIRST_PEER_AS + number,
        dut_as=dut_as(testbed, testbed.port(here.port).attach.dut),
        hello_s=hello_s,
        hold_s=hold_s,
    )
