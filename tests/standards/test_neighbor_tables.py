"""What the neighbor tables of RFC 4273 (BGP), RFC 4750 (OSPF) and RFC 4292 (routes) prove.

The objects are the RFCs'; what follows from them is derived. Events are those of the peer: the
counters of a device restart with it.
"""

import pytest

from qualify.measure.neighbors import count_neighbor_changes
from qualify.measure.observation import (
    DutObservation,
    NeighborChange,
    NeighborEvent,
    NeighborHistory,
    RouteHistory,
)
from qualify.testbed.case import NeighborBudget, RouteBudget
from qualify.verdict.checks import judge_neighbor, judge_release, judge_routes
from qualify.verdict.verdict import Outcome

NONE_ALLOWED = NeighborBudget(flaps=0, graceful_restarts_allowed=True)


def bgp(changes: str, *, before: str | None, after: str | None) -> NeighborHistory:
    """A session whose state in service is established (bgpPeerState 6)."""
    events = tuple(
        NeighborEvent(second, NeighborChange(change), change)
        for second, change in enumerate(changes.split())
    )
    return NeighborHistory("egp", "p5", "bgp", "Established", 90_000_000_000, before, after, events)


@pytest.mark.parametrize(
    ("history", "flaps", "outcome"),
    [
        pytest.param(
            bgp("", before="Established", after="Established"),
            0,
            Outcome.PASS,
            id="O-MIB-01 no transition, established before and after",
        ),
        pytest.param(
            bgp("down up down up", before="Established", after="Established"),
            2,
            Outcome.FAIL,
            id="O-MIB-02 two more transitions into established",
        ),
        pytest.param(
            bgp("", before="Established", after="Idle"),
            1,
            Outcome.FAIL,
            id="O-MIB-03 no transition, but not established afterwards",
        ),
        pytest.param(
            bgp("", before=None, after=None),
            0,
            Outcome.INCONCLUSIVE,
            id="O-MIB-04 unknown from this side",
        ),
        pytest.param(
            bgp("restarting restarted", before="Established", after="Established"),
            0,
            Outcome.PASS,
            id="O-MIB-07 graceful restart completed",
        ),
        pytest.param(
            bgp("restarting down", before="Established", after="Idle"),
            1,
            Outcome.FAIL,
            id="O-MIB-07 graceful restart timed out",
        ),
    ],
)
def test_o_mib_sessions(history: NeighborHistory, flaps: int, outcome: Outcome) -> None:
    count = count_neighbor_changes(history)
    assert count.flaps == flaps
    assert judge_neighbor(history, count, budget=NONE_ALLOWED).outcome is outcome


@pytest.mark.parametrize(
    ("after", "outcome"), [(3_000, Outcome.PASS), (2_990, Outcome.PASS), (2_989, Outcome.FAIL)]
)
def test_o_mib_08_fewer_routes_than_before_less_the_tolerance(after: int, outcome: Outcome) -> None:
    """RFC 4292 inetCidrRouteNumber, tolerance 10 of 3000."""
    history = RouteHistory("igp", "p3>p4", 3_000, 3_000, after, after)
    assert judge_routes(history, budget=RouteBudget(10)).outcome is outcome


@pytest.mark.parametrize(("after", "outcome"), [("5.2.0", Outcome.PASS), ("5.1.0", Outcome.FAIL)])
def test_o_mib_12_the_new_release_runs_afterwards(after: str, outcome: Outcome) -> None:
    """RFC 6933 entPhysicalSoftwareRev."""
    dut = DutObservation("d1", 1, "5.1.0", after, 1_000_000_000, "", (), 1)
    assert judge_release(dut, target_release="5.2.0", broke_off=False).outcome is outcome
