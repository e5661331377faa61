"""The simulated world does what an image's manifest says, and nothing else."""

from dataclasses import replace

import pytest

from qualify.clock import VirtualClock
from qualify.simulation.route import duts_on
from qualify.simulation.simulation import Absence, Blackout, Simulation
from qualify.testbed.image import (
    Interruption,
    SimulatedBehaviour,
    SimulatedNeighbors,
    SimulatedOutcome,
)
from qualify.testbed.testbed import PathKind
from tests.sample import TESTBED, THREE_TIERS, UNTOUCHED, image

START_NS = 1_000_000_000_000
L2, IGP, EGP = TESTBED.paths


def world(behaviour: SimulatedBehaviour) -> tuple[Simulation, VirtualClock]:
    clock = VirtualClock(START_NS)
    simulation = Simulation(TESTBED, clock)
    simulation.boot("d1", image("5.1.0"))
    simulation.upgrade("d1", image("5.2.0", behaviour))
    return simulation, clock


def test_an_upgrade_takes_as_long_as_the_manifest_says() -> None:
    simulation, clock = world(UNTOUCHED)

    clock.sleep(59.9)
    assert not simulation.finished("d1")
    assert simulation.running("d1") is None
    clock.sleep(0.1)
    assert simulation.finished("d1")
    assert simulation.running("d1") == image("5.2.0")


def test_a_device_that_never_comes_back_cannot_be_asked() -> None:
    simulation, clock = world(replace(UNTOUCHED, outcome=SimulatedOutcome.NEVER_BACK))

    clock.sleep(100_000)

    assert not simulation.finished("d1")
    assert simulation.running("d1") is None


def test_a_device_that_fell_back_runs_the_old_release() -> None:
    simulation, clock = world(replace(UNTOUCHED, outcome=SimulatedOutcome.FELL_BACK))

    clock.sleep(60)

    assert simulation.fell_back("d1")
    assert simulation.running("d1") == image("5.1.0")


def test_a_boot_forgets_the_upgrade() -> None:
    simulation, _ = world(UNTOUCHED)

    simulation.boot("d1", image("5.1.0"))

    assert simulation.finished("d1")
    assert simulation.running("d1") == image("5.1.0")


@pytest.mark.parametrize(("towards", "blackouts"), [(0, 1), (1, 2)])
def test_an_interruption_can_hit_one_direction_only(towards: int, blackouts: int) -> None:
    both = Interruption(after_ns=5, outage_ns=10, every=1, towards=None)
    one = Interruption(after_ns=2, outage_ns=10, every=3, towards=1)
    simulation, _ = world(replace(UNTOUCHED, interruptions={PathKind.IGP: (both, one)}))

    found = simulation.blackouts(IGP, towards=towards)

    assert len(found) == blackouts
    assert found[-1] == Blackout(START_NS + 5, START_NS + 15, every=1)
    assert simulation.blackouts(EGP, towards=towards) == ()


def test_sessions_restart_gracefully_flap_and_stay_down_one_after_the_other() -> None:
    truth = SimulatedNeighbors(flaps=1, graceful_restarts=1, down_ns=3_000_000_000, stays_down=True)
    simulation, _ = world(replace(UNTOUCHED, neighbors={PathKind.EGP: truth}))
    second = 1_000_000_000

    assert simulation.absences(EGP, "d1") == (
        Absence(START_NS + 1 * second, START_NS + 4 * second, graceful=True),
        Absence(START_NS + 5 * second, START_NS + 8 * second, graceful=False),
        Absence(START_NS + 9 * second, None, graceful=False),
    )
    assert simulation.absences(IGP, "d1") == ()


def test_lost_routes_are_missing_once_the_sessions_have_changed() -> None:
    simulation, clock = world(replace(UNTOUCHED, routes_lost={PathKind.EGP: 4}))

    assert simulation.routes_lost(EGP) == 0
    clock.sleep(1)
    assert simulation.routes_lost(EGP) == 4
    assert simulation.routes_lost(IGP) == 0


def test_a_path_crosses_every_device_between_its_ports() -> None:
    assert duts_on(THREE_TIERS, L2) == ("d1", "d2", "d3")
    assert duts_on(TESTBED, L2) == ("d1",)
    assert duts_on(replace(THREE_TIERS, links=()), L2) == ("d1", "d3")


def test_blackouts_of_all_devices_on_a_path_add_up() -> None:
    clock = VirtualClock(START_NS)
    simulation = Simulation(THREE_TIERS, clock)
    gap = Interruption(after_ns=0, outage_ns=2_000_000, every=1, towards=None)
    behaviour = replace(UNTOUCHED, interruptions={PathKind.L2: (gap,)})
    for dut in ("d1", "d2", "d3"):
        simulation.boot(dut, image("5.1.0"))
        simulation.upgrade(dut, image("5.2.0", behaviour))
        clock.sleep(1)

    starts = [blackout.start_ns for blackout in simulation.blackouts(L2, towards=0)]

    assert starts == [START_NS, START_NS + 1_000_000_000, START_NS + 2_000_000_000]
