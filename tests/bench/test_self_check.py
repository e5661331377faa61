"""The tester by itself, on a machine made up for the test: what it finds, and how long it looks."""

from dataclasses import replace
from pathlib import Path

import pytest

from qualify.bench.measurement import MeasuredStream, Waiting, run_streams
from qualify.bench.self_check import Step, check_tester, find_rate
from qualify.clock import VirtualClock
from qualify.errors import BenchError
from qualify.measure.stream import measure_stream
from qualify.plan.addressing import address_testbed
from qualify.plan.streams import plan_streams
from qualify.simulation.simulation import Simulation
from qualify.site import Site
from qualify.testbed.image import Interruption
from qualify.testbed.testbed import PathKind
from qualify.traffic.simulated import SimulatedTraffic
from tests.measure.captures import timed_capture
from tests.sample import CASE, TESTBED, UNTOUCHED, image

SECOND = 1_000_000_000
STREAMS = plan_streams(TESTBED, CASE, address_testbed(TESTBED))
LOSSY = replace(
    UNTOUCHED,
    interruptions={
        PathKind.EGP: (Interruption(after_ns=0, outage_ns=20_000_000, every=1, towards=1),)
    },
)


class Machine:
    """Loses frames of ``egp p5>p6`` above a rate; a step takes half a second more than it sends."""

    def __init__(self, *, loses_above: int) -> None:
        self.clock = VirtualClock(1_000 * SECOND)
        self.steps: list[Step] = []
        self._loses_above = loses_above

    def send(self, rate_pps: int, seconds: float) -> tuple[MeasuredStream, ...]:
        """Send at a rate that this machine may not manage."""
        simulation = Simulation(TESTBED, self.clock)
        simulation.boot("d1", image("5.1.0"))
        if rate_pps > self._loses_above:
            simulation.upgrade("d1", image("5.2.0", LOSSY))
        return run_streams(
            SimulatedTraffic(Site(TESTBED, self.clock, None, simulation)),
            [replace(stream, rate_pps=rate_pps) for stream in STREAMS],
            {},
            run_id=1,
            waiting=Waiting(self.clock, seconds, 0.5, lambda _: None, lambda: False),
        )

    def find(self, *, most_pps: int | None) -> Step | None:
        """Search."""
        return find_rate(self.send, clock=self.clock, most_pps=most_pps, tell=self.steps.append)


def test_a_machine_that_can_do_what_the_backend_allows_needs_two_steps() -> None:
    machine = Machine(loses_above=1_000)

    found = machine.find(most_pps=666)

    assert found is not None
    assert (found.rate_pps, found.seconds, found.complaint) == (666, 5.0, "")
    assert [(step.rate_pps, step.seconds) for step in machine.steps] == [(666, 2.0), (666, 5.0)]


def test_a_slower_machine_is_told_what_it_lost_and_what_it_can_do() -> None:
    machine = Machine(loses_above=300)

    found = machine.find(most_pps=666)

    assert found is not None
    assert found.rate_pps == 291
    assert [step.rate_pps for step in machine.steps] == [666, 333, 166, 249, 291, 312, 291]
    assert machine.steps[0].complaint == (
        "egp p5>p6: of 1332 frames 14 lost, 0 repeated, 0 reordered; dropped by the tester: 0"
    )


def test_the_search_ends_in_less_than_a_minute_and_confirms_what_it_has() -> None:
    machine = Machine(loses_above=10_000_000)
    start_ns = machine.clock.now_ns()
    machine.clock.sleep(0)

    def send(rate_pps: int, seconds: float) -> tuple[MeasuredStream, ...]:
        machine.clock.sleep(4.0)  # a slow backend
        return machine.send(min(rate_pps, 1_000), seconds)

    found = find_rate(send, clock=machine.clock, most_pps=None, tell=machine.steps.append)

    assert machine.clock.now_ns() - start_ns < 60 * SECOND
    assert found is None  # it was asked for more than the 1 000 frames/s that really left
    assert machine.steps[0].complaint == "l2 p1>p2: only 1000 frames/s were sent"


def test_a_machine_that_loses_at_every_rate_has_none() -> None:
    assert Machine(loses_above=0).find(most_pps=100) is None


def test_a_rate_that_does_not_last_is_lowered_until_one_does() -> None:
    machine = Machine(loses_above=1_000)

    def send(rate_pps: int, seconds: float) -> tuple[MeasuredStream, ...]:
        tired = seconds == 5.0 and rate_pps > 500
        return machine.send(2_000 if tired else rate_pps, seconds)

    found = find_rate(send, clock=machine.clock, most_pps=666, tell=machine.steps.append)

    assert found is not None
    assert [(step.rate_pps, step.seconds) for step in machine.steps] == [
        (666, 2.0),
        (666, 5.0),
        (444, 5.0),
    ]


def test_stalls_are_what_the_pauses_between_frames_exceed_one_interval_by() -> None:
    sent_at = [number * 1_000_000 for number in range(200)]
    for number in range(100, 200):
        sent_at[number] += 7_000_000  # one pause of 8 ms
    sent_at[50] += 300_000  # one of 1.3 ms
    capture = timed_capture(sent_at=sent_at, received=range(200))
    measured = MeasuredStream(STREAMS[0], capture, measure_stream(capture), "")

    found = find_rate(
        lambda _rate, _seconds: (measured,),
        clock=VirtualClock(0),
        most_pps=900,
        tell=lambda _: None,
    )

    assert found is not None
    assert found.longest_stall_ns == 7_000_000
    # 199 pauses: 8 ms is the longest, 1.3 ms the second, and 99 of 100 of them are 198.
    assert found.p99_stall_ns == 300_000


def test_a_simulated_testbed_has_nothing_to_check() -> None:
    testbed = replace(TESTBED, file=Path("a.yaml"))

    with pytest.raises(
        BenchError,
        match=r"^a.yaml: a simulated testbed sends no frames, so there is nothing to check\n"
        r"  fix: name a testbed whose traffic backend sends frames, e.g. "
        r"testbeds/virtual-one-tier.yaml$",
    ):
        check_tester(testbed, tell=lambda _: None)
