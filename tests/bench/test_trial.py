"""A trial on a simulated bench: minutes of virtual time, and a truthful observation."""

import hashlib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from qualify.bench.bench import backend_limit, clock_for, open_bench
from qualify.bench.plugs import open_device
from qualify.bench.telling import Event
from qualify.bench.trial import run_trial
from qualify.clock import RealClock, VirtualClock
from qualify.devices.device import Facts
from qualify.devices.simulated import SimulatedDevice
from qualify.errors import BenchError, DeviceError
from qualify.measure.observation import NeighborChange, Observation
from qualify.plan.limit import Limit
from qualify.plan.planner import plan_run
from qualify.plan.trial import Plan
from qualify.site import Site
from qualify.testbed.case import Case, Order
from qualify.testbed.image import (
    Image,
    Interruption,
    SimulatedBehaviour,
    SimulatedNeighbors,
    SimulatedOutcome,
)
from qualify.testbed.testbed import BenchKind, PathKind, Testbed
from tests.sample import CASE, TESTBED, THREE_TIERS, UNTOUCHED, image

SUM = hashlib.sha256((Path(__file__).parents[1] / "sample.py").read_bytes()).hexdigest()
SECOND = 1_000_000_000
TWO_MS = Interruption(after_ns=30 * SECOND, outage_ns=2_000_000, every=1, towards=None)


def sound(release: str, behaviour: SimulatedBehaviour = UNTOUCHED) -> Image:
    return replace(image(release, behaviour), sha256=SUM)


def plan(target: Image, *, testbed: Testbed = TESTBED, case: Case = CASE) -> Plan:
    return plan_run(
        testbed, [case], target=target, source=sound("5.1.0"), limit=Limit(None, None), trials=1
    )


def observe(planned: Plan) -> tuple[Observation, list[Event]]:
    events: list[Event] = []
    clock = VirtualClock(1_000 * SECOND)
    with open_bench(planned, clock=clock, tell=events.append) as bench:
        return run_trial(bench, planned.trials[0]), events


def lost_frames(observation: Observation) -> list[int]:
    return [each.transmission.sent_frames - each.arrivals.received for each in observation.captures]


def test_the_phases_follow_one_another() -> None:
    observation, events = observe(plan(sound("5.2.0")))

    names = [span.name for span in observation.phases]
    assert names == [
        "check",
        "steady",
        "install",
        "activate",
        "verify",
        "recover",
        "count",
        "compare",
    ]
    assert all(first.end_ns <= second.start_ns for first, second in pairwise(observation.phases))
    assert [event.words for event in events if event.kind == "phase"] == [*names, "restore"]


def test_an_interruption_of_two_milliseconds_loses_two_frames_on_each_stream() -> None:
    truth = replace(UNTOUCHED, interruptions=dict.fromkeys(PathKind, (TWO_MS,)))

    observation, _ = observe(plan(sound("5.2.0", truth)))

    assert lost_frames(observation) == [2, 2, 2, 2, 2, 2]
    assert observation.problem == ""


def test_the_device_is_seen_before_and_after() -> None:
    observation, _ = observe(plan(sound("5.2.0")))

    (dut,) = observation.duts
    assert (dut.release_before, dut.release_after) == ("5.1.0", "5.2.0")
    assert dut.upgrade_ns is not None
    assert 60 * SECOND <= dut.upgrade_ns < 61 * SECOND
    assert dut.activated_ns is not None
    assert dut.ports == ()


def test_flaps_and_lost_routes_are_seen_by_the_peers() -> None:
    flap = SimulatedNeighbors(1, 0, down_ns=4 * SECOND, stays_down=False)
    truth = replace(UNTOUCHED, neighbors={PathKind.IGP: flap}, routes_lost={PathKind.EGP: 3})

    observation, _ = observe(plan(sound("5.2.0", truth)))

    igp, _, egp, _ = observation.neighbors
    assert [event.change for event in igp.events] == [NeighborChange.DOWN, NeighborChange.UP]
    assert egp.events == ()
    routes = {each.direction: each for each in observation.routes}
    assert (routes["p3>p4"].before, routes["p3>p4"].lowest, routes["p3>p4"].after) == (2, 0, 2)
    assert (routes["p5>p6"].advertised, routes["p5>p6"].after) == (4, 1)


def test_a_second_interruption_long_after_the_first_is_still_seen() -> None:
    late = replace(TWO_MS, after_ns=64 * SECOND)
    truth = replace(UNTOUCHED, interruptions={PathKind.L2: (TWO_MS, late)})

    observation, _ = observe(plan(sound("5.2.0", truth)))

    assert lost_frames(observation) == [4, 4, 0, 0, 0, 0]


def test_recovery_starts_again_with_every_impairment() -> None:
    late = replace(TWO_MS, after_ns=64 * SECOND)
    truth = replace(UNTOUCHED, interruptions={PathKind.L2: (late,)})

    observation, _ = observe(plan(sound("5.2.0", truth)))

    (recover,) = [span for span in observation.phases if span.name == "recover"]
    (dut,) = observation.duts
    assert dut.activated_ns is not None
    assert recover.end_ns >= dut.activated_ns + 69 * SECOND


def test_a_device_that_never_comes_back_is_not_waited_for_forever() -> None:
    silent = replace(TWO_MS, outage_ns=10_000 * SECOND)
    truth = replace(
        UNTOUCHED,
        outcome=SimulatedOutcome.NEVER_BACK,
        interruptions={PathKind.EGP: (silent,)},
    )

    observation, _ = observe(plan(sound("5.2.0", truth)))

    (dut,) = observation.duts
    assert (dut.release_after, dut.upgrade_ns) == (None, None)
    verify, recover = (
        span.end_ns - span.start_ns
        for span in observation.phases
        if span.name in ("verify", "recover")
    )
    assert 900 * SECOND <= verify < 901 * SECOND
    assert 900 * SECOND <= recover < 901 * SECOND
    assert lost_frames(observation)[4] > 1_000_000


def test_a_refused_image_leaves_the_old_release_and_no_figures() -> None:
    observation, events = observe(plan(image("5.2.0")))

    assert observation.problem.startswith("d1 refused 5.2.0: the SHA-256 of its image is ")
    assert observation.captures == ()
    assert [span.name for span in observation.phases] == ["check", "steady", "install"]
    assert observation.duts[0].release_after == "5.1.0"
    assert [event.words for event in events if event.kind == "phase"][-1] == "install"
    assert any("fix: fetch the image again" in event.words for event in events)


def test_a_bench_on_the_wrong_release_is_not_upgraded() -> None:
    planned = plan(sound("5.2.0"))
    clock = VirtualClock(0)
    with open_bench(planned, clock=clock, tell=lambda _: None) as bench:
        bench.devices["d1"].restore(sound("4.9.0"))
        observation = run_trial(bench, planned.trials[0])

    assert observation.problem == (
        "the bench is not ready after 90 s: d1 runs 4.9.0 instead of 5.1.0"
    )
    assert observation.duts[0].activated_ns is None


class Forgetful(SimulatedDevice):
    """A device on which somebody has switched graceful restart off."""

    def facts(self) -> Facts:
        """Tell the truth but for graceful restart."""
        return replace(super().facts(), redundancy={"graceful restart": False})


class Stubborn(SimulatedDevice):
    """A device that cannot be brought back to where it came from."""

    def restore(self, image: Image) -> None:
        """Refuse."""
        raise DeviceError(f"{image.release} is not on the device any more", fix="copy it there")


def test_figures_survive_a_device_that_cannot_be_restored() -> None:
    planned = plan(sound("5.2.0"))
    events: list[Event] = []
    with open_bench(planned, clock=VirtualClock(0), tell=events.append) as bench:
        stubborn = Stubborn(TESTBED.duts[0], bench.site)
        observation = run_trial(replace(bench, devices={"d1": stubborn}), planned.trials[0])

    assert observation.problem == ""
    assert lost_frames(observation) == [0, 0, 0, 0, 0, 0]
    assert any("5.1.0 is not on the device any more" in event.words for event in events)


def test_a_device_without_its_redundancy_is_not_upgraded() -> None:
    planned = plan(sound("5.2.0"))
    with open_bench(planned, clock=VirtualClock(0), tell=lambda _: None) as bench:
        forgetful = Forgetful(TESTBED.duts[0], bench.site)
        observation = run_trial(replace(bench, devices={"d1": forgetful}), planned.trials[0])

    assert observation.problem == (
        "the bench is not ready after 90 s: graceful restart is off on d1"
    )


def test_a_device_that_does_not_answer_is_not_upgraded() -> None:
    planned = plan(sound("5.2.0"))
    with open_bench(planned, clock=VirtualClock(0), tell=lambda _: None) as bench:
        gone = replace(UNTOUCHED, outcome=SimulatedOutcome.NEVER_BACK)
        bench.site.in_simulation("this test").upgrade("d1", sound("5.1.0", gone))
        observation = run_trial(bench, planned.trials[0])

    assert observation.problem == (
        "the bench is not ready after 90 s: d1 does not answer while it upgrades"
    )


def test_a_device_without_all_routes_in_its_table_is_not_upgraded() -> None:
    planned = plan(sound("5.2.0"))
    clock = VirtualClock(0)
    with open_bench(planned, clock=clock, tell=lambda _: None) as bench:
        truth = replace(UNTOUCHED, upgrade_ns=0, routes_lost={PathKind.EGP: 1})
        bench.site.in_simulation("this test").upgrade("d1", sound("5.1.0", truth))
        clock.sleep(2)
        observation = run_trial(bench, planned.trials[0])

    assert observation.problem == (
        "the bench is not ready after 90 s: 6 of 8 bgp routes in the table of d1; "
        "3 of 4 bgp routes at p5; 3 of 4 bgp routes at p6"
    )


def test_traffic_that_is_lost_before_the_upgrade_is_the_fault_of_the_bench() -> None:
    noisy = replace(
        UNTOUCHED,
        upgrade_ns=0,
        interruptions={PathKind.IGP: (replace(TWO_MS, after_ns=10 * SECOND, towards=1),)},
    )
    planned = plan(sound("5.2.0"))
    with open_bench(planned, clock=VirtualClock(0), tell=lambda _: None) as bench:
        simulation = bench.site.in_simulation("this test")
        simulation.upgrade("d1", sound("5.1.0", noisy))
        observation = run_trial(bench, planned.trials[0])

    assert observation.problem == (
        "frames were lost, repeated or reordered on igp p3>p4 before the upgrade"
    )
    assert observation.captures == ()


def test_a_stream_that_never_arrives_is_the_fault_of_the_bench() -> None:
    deaf = replace(
        UNTOUCHED,
        upgrade_ns=0,
        interruptions={PathKind.L2: (replace(TWO_MS, after_ns=0, outage_ns=100 * SECOND),)},
    )
    planned = plan(sound("5.2.0"))
    with open_bench(planned, clock=VirtualClock(0), tell=lambda _: None) as bench:
        bench.site.in_simulation("this test").upgrade("d1", sound("5.1.0", deaf))
        observation = run_trial(bench, planned.trials[0])

    assert observation.problem == "nothing arrives on l2 p1>p2, l2 p2>p1 before the upgrade"


def test_several_devices_are_activated_at_once() -> None:
    case = replace(CASE, tiers=3)
    observation, _ = observe(plan(sound("5.2.0"), testbed=THREE_TIERS, case=case))

    starts = {dut.activated_ns for dut in observation.duts}
    assert len(starts) == 1


def test_a_rolling_order_waits_for_each_device_to_recover() -> None:
    case = replace(CASE, tiers=3, order=Order.ROLLING)
    observation, _ = observe(plan(sound("5.2.0"), testbed=THREE_TIERS, case=case))

    names = [span.name for span in observation.phases][3:-2]
    assert names == [
        f"{phase} d{n}" for n in (1, 2, 3) for phase in ("activate", "verify", "recover")
    ]
    first, second, third = (dut.activated_ns or 0 for dut in observation.duts)
    assert second - first > 60 * SECOND
    assert third - second > 60 * SECOND


def test_an_unknown_driver_is_refused_with_those_installed() -> None:
    dut = replace(TESTBED.duts[0], driver="telepathy")
    site = Site(TESTBED, RealClock(), None, None)

    with pytest.raises(
        BenchError,
        match=r"^testbeds/sample.yaml duts.d1.driver: nothing named 'telepathy' is installed in "
        r"qualify.devices\n  fix: use one of: .*simulated.*virtual",
    ):
        open_device(dut, site)


def test_a_driver_of_another_kind_of_bench_is_refused() -> None:
    lonely = Site(TESTBED, RealClock(), None, None)
    wrong = replace(TESTBED.duts[0], driver="virtual")

    with pytest.raises(BenchError, match=r"the driver 'virtual' works in the virtual lab only"):
        open_device(wrong, lonely)
    with pytest.raises(BenchError, match=r"the driver 'simulated' works in a simulation only"):
        open_device(TESTBED.duts[0], lonely)


def test_the_limit_of_a_backend_is_known_before_anything_is_opened() -> None:
    assert backend_limit(TESTBED) == Limit(None, None)


def test_only_a_simulation_runs_in_virtual_time() -> None:
    assert isinstance(clock_for(TESTBED), VirtualClock)
    assert isinstance(clock_for(replace(TESTBED, kind=BenchKind.VIRTUAL)), RealClock)
