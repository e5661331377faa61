"""Traffic without an upgrade: all paths, for a time or until somebody stops it."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from qualify.bench.bench import open_bench
from qualify.bench.measurement import (
    MeasuredStream,
    Progress,
    make_ready,
    measure_bench,
    plan_measurement,
)
from qualify.clock import VirtualClock
from qualify.errors import BenchError, FileError, PlanError
from qualify.measure.stream import measure_stream
from qualify.plan.capability import Capability
from qualify.plan.limit import Limit
from qualify.plan.trial import Plan
from qualify.testbed.testbed import Dut
from qualify.testbed.testbed_file import read_testbed
from tests.measure.captures import even_capture, timed_capture

SECOND = 1_000_000_000
SHIPPED = read_testbed(Path(__file__).parents[2] / "testbeds/simulated-one-tier.yaml")
NO_LIMIT = Limit(None, None)


def measure(
    plan: Plan, *, seconds: float, stopped: Callable[[], bool] = lambda: False
) -> tuple[tuple[MeasuredStream, ...], list[Progress]]:
    seen: list[Progress] = []
    with open_bench(plan, clock=VirtualClock(1_000 * SECOND), tell=lambda _: None) as bench:
        make_ready(bench)
        measured = measure_bench(bench, seconds=seconds, watch=seen.append, stopped=stopped)
    return measured, seen


def test_all_paths_are_sent_over_on_the_release_that_the_devices_start_from() -> None:
    plan = plan_measurement(SHIPPED, rate_pps=100, limit=NO_LIMIT)

    assert (plan.source.release, plan.target.release) == ("5.1.0", "5.1.0")
    assert [stream.direction for stream in plan.trials[0].streams] == [
        "p1>p2", "p2>p1", "p3>p4", "p4>p3", "p5>p6", "p6>p5",
    ]  # fmt: skip


def test_every_stream_is_measured_and_the_counts_are_told_twice_a_second() -> None:
    plan = plan_measurement(SHIPPED, rate_pps=100, limit=NO_LIMIT)

    measured, seen = measure(plan, seconds=2)

    assert [each.figures.sent for each in measured if each.figures] == [200] * 6
    assert all(each.clean for each in measured)
    assert [progress.elapsed_ns for progress in seen] == [
        500_000_000, 1_000_000_000, 1_500_000_000,
    ]  # fmt: skip
    assert [count.sent for count in seen[0].counts] == [50] * 6


def test_whoever_stops_gets_what_was_sent_until_then() -> None:
    plan = plan_measurement(SHIPPED, rate_pps=100, limit=NO_LIMIT)
    asked = iter([False] * 50 + [True])

    measured, _ = measure(plan, seconds=30, stopped=lambda: next(asked))

    assert [each.figures.sent for each in measured if each.figures] == [100] * 6


def test_a_rate_beyond_the_backend_or_the_machine_is_refused() -> None:
    seen = Capability("simulated", "2026-11-25", 6, 128, 100, 0, 0)

    with pytest.raises(PlanError, match=r"^--rate: 6 streams of 1 000 .* can do 4 000 in all\n"):
        plan_measurement(SHIPPED, rate_pps=1_000, limit=Limit(4_000, None))
    with pytest.raises(PlanError, match=r"^--rate: 6 streams of 200 .* sent 600 in all without "):
        plan_measurement(SHIPPED, rate_pps=200, limit=Limit(None, None, seen))


def test_devices_on_different_releases_are_refused() -> None:
    mixed = replace(
        SHIPPED, duts=(Dut("d1", 1, "simulated", "5.1.0"), Dut("d2", 1, "simulated", "5.2.0-rc3"))
    )

    with pytest.raises(
        FileError, match=r"duts: the devices start from different releases: 5.1.0, 5.2.0-rc3\n"
    ):
        plan_measurement(mixed, rate_pps=100, limit=NO_LIMIT)


def test_a_bench_that_is_not_fit_is_refused() -> None:
    plan = plan_measurement(SHIPPED, rate_pps=100, limit=NO_LIMIT)
    unmet = replace(plan, peers=tuple(replace(peer, expected_routes=9) for peer in plan.peers))

    with (
        open_bench(plan, clock=VirtualClock(1_000 * SECOND), tell=lambda _: None) as bench,
        pytest.raises(BenchError, match=r"^.*: the bench is not ready after 90 s: .* of 9 ospf"),
    ):
        make_ready(replace(bench, plan=unmet))


@pytest.mark.parametrize(
    ("lost", "dropped", "clean"),
    [((), 0, True), ((3,), 0, False), ((), 1, False), ((), None, False)],
)
def test_a_stream_is_clean_when_all_arrived_and_the_tester_can_tell(
    lost: tuple[int, ...],
    dropped: int | None,
    clean: bool,  # noqa: FBT001
) -> None:
    capture = even_capture(sent=10, lost=lost, tester_dropped=dropped)
    stream = plan_measurement(SHIPPED, rate_pps=100, limit=NO_LIMIT).trials[0].streams[0]

    assert MeasuredStream(stream, capture, measure_stream(capture), "").clean is clean


@pytest.mark.parametrize("received", [(0, 1, 1, 2), (0, 2, 1)])
def test_a_repeated_or_reordered_frame_is_not_clean(received: tuple[int, ...]) -> None:
    capture = timed_capture(sent_at=(0, 1_000_000, 2_000_000), received=received)
    stream = plan_measurement(SHIPPED, rate_pps=100, limit=NO_LIMIT).trials[0].streams[0]

    assert not MeasuredStream(stream, capture, measure_stream(capture), "").clean


def test_nothing_sent_and_nothing_measured_are_not_clean() -> None:
    stream = plan_measurement(SHIPPED, rate_pps=100, limit=NO_LIMIT).trials[0].streams[0]
    empty = even_capture(sent=0)

    assert not MeasuredStream(stream, empty, measure_stream(empty), "").clean
    assert not MeasuredStream(stream, empty, None, "it contradicts itself").clean
