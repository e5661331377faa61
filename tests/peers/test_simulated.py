"""A simulated peer sees its session come and go as the simulation says."""

from dataclasses import replace

from qualify.clock import VirtualClock
from qualify.measure.observation import NeighborChange
from qualify.peers.simulated import SimulatedPeer
from qualify.plan.peers import plan_peers
from qualify.simulation.simulation import Simulation
from qualify.site import Site
from qualify.testbed.image import SimulatedNeighbors
from qualify.testbed.testbed import PathKind
from tests.sample import TESTBED, UNTOUCHED, image

SECOND = 1_000_000_000


def peer_during(
    truth: SimulatedNeighbors, *, routes_lost: int = 0
) -> tuple[SimulatedPeer, VirtualClock]:
    clock = VirtualClock(0)
    simulation = Simulation(TESTBED, clock)
    simulation.boot("d1", image("5.1.0"))
    peer = SimulatedPeer(plan_peers(TESTBED)[2], Site(TESTBED, clock, None, simulation))
    peer.start()
    behaviour = replace(
        UNTOUCHED, neighbors={PathKind.EGP: truth}, routes_lost={PathKind.EGP: routes_lost}
    )
    simulation.upgrade("d1", image("5.2.0", behaviour))
    return peer, clock


def test_a_flap_takes_the_routes_and_gives_them_back() -> None:
    peer, clock = peer_during(SimulatedNeighbors(1, 0, down_ns=3 * SECOND, stays_down=False))

    assert (peer.up(), peer.routes()) == (True, 4)
    clock.sleep(2)
    assert (peer.up(), peer.routes()) == (False, 0)
    clock.sleep(2)
    assert (peer.up(), peer.routes()) == (True, 4)


def test_a_graceful_restart_keeps_the_routes() -> None:
    peer, clock = peer_during(SimulatedNeighbors(0, 1, down_ns=3 * SECOND, stays_down=False))
    clock.sleep(2)

    assert (peer.up(), peer.routes()) == (False, 4)


def test_the_history_tells_each_change_with_its_time() -> None:
    peer, clock = peer_during(SimulatedNeighbors(1, 1, down_ns=3 * SECOND, stays_down=False))
    clock.sleep(20)

    history = peer.history(since_ns=0)

    assert [(event.at_ns, event.change) for event in history.events] == [
        (1 * SECOND, NeighborChange.RESTARTING),
        (4 * SECOND, NeighborChange.RESTARTED),
        (5 * SECOND, NeighborChange.DOWN),
        (8 * SECOND, NeighborChange.UP),
    ]
    assert (history.before, history.after, history.up_state) == (
        "Established",
        "Established",
        "Established",
    )
    assert (history.path, history.observer, history.hold_ns) == ("egp", "p5", 9 * SECOND)


def test_a_session_that_stays_down_is_down_afterwards() -> None:
    peer, clock = peer_during(SimulatedNeighbors(0, 0, down_ns=0, stays_down=True))
    clock.sleep(20)

    history = peer.history(since_ns=0)

    assert history.after == "Active"
    assert [event.change for event in history.events] == [NeighborChange.DOWN]
    peer.stop()


def test_lost_routes_are_missing_in_each_direction() -> None:
    peer, clock = peer_during(SimulatedNeighbors(0, 0, down_ns=0, stays_down=False), routes_lost=3)
    clock.sleep(2)

    assert peer.routes() == 1
