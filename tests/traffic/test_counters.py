"""Backend ``counters``: the counts of one trial, never those of another, and nothing before."""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from qualify.clock import VirtualClock
from qualify.errors import TrafficError
from qualify.plan.addressing import address_testbed
from qualify.plan.limit import Limit
from qualify.plan.streams import plan_streams
from qualify.site import Site
from qualify.testbed.testbed import Column, CountersFile
from qualify.traffic.backend import StreamCount
from qualify.traffic.counters import CountersTraffic
from tests.sample import CASE, TESTBED

SECOND = 1_000_000_000
START_NS = 1_700_000_000 * SECOND
STREAMS = plan_streams(TESTBED, replace(CASE, paths=("l2",)), address_testbed(TESTBED))
COLUMNS = {Column.STREAM: "stream", Column.SENT: "sent", Column.RECEIVED: "received"}
TEXT = "stream,sent,received\nl2 p1>p2,10000,9990\nl2 p2>p1,10000,10000\n"


class Hands(VirtualClock):
    """A clock on which somebody does something at a time."""

    def __init__(self) -> None:
        super().__init__(START_NS)
        self.plans: list[tuple[int, Callable[[], None]]] = []

    def sleep(self, seconds: float) -> None:
        """Let time pass, and let be done what is due."""
        super().sleep(seconds)
        due = [plan for plan in self.plans if plan[0] <= self.now_ns()]
        self.plans = [plan for plan in self.plans if plan not in due]
        for _, action in due:
            action()


class Bench:
    """A backend, its clock, and the file that a generator writes."""

    def __init__(self, folder: Path) -> None:
        self.clock = Hands()
        self.file = folder / "counts.csv"
        counters = CountersFile(self.file, COLUMNS)
        testbed = replace(TESTBED, tester=replace(TESTBED.tester, counters=counters))
        self.traffic = CountersTraffic(Site(testbed, self.clock, None, None))

    def write(self, text: str = TEXT) -> None:
        """Write the file now."""
        self.file.write_text(text)
        os.utime(self.file, ns=(self.clock.now_ns(), self.clock.now_ns()))

    def run(self) -> None:
        """Let ten seconds of traffic pass."""
        self.traffic.open(STREAMS, {}, run_id=1)
        self.traffic.start()
        self.clock.sleep(10)
        self.traffic.stop()


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A bench whose generator has written nothing yet."""
    return Bench(tmp_path)


def test_it_has_no_limit_and_nobody_counts_while_traffic_runs(bench: Bench) -> None:
    bench.traffic.open(STREAMS, {}, run_id=1)
    bench.traffic.start()

    assert bench.traffic.limit == Limit(None, None)
    assert bench.traffic.counts() == (
        StreamCount(0, None, None, None, None),
        StreamCount(1, None, None, None, None),
    )
    assert not bench.traffic.counts()[0].watched


def test_counts_that_were_written_after_the_traffic_are_taken(bench: Bench) -> None:
    bench.run()
    bench.clock.sleep(2)
    bench.write()

    first, second = bench.traffic.collect()

    assert (first.stream, first.rate_pps, first.destinations) == (0, 1_000, 3)
    assert (first.tester_dropped, first.longest_stall_ns) == (None, None)
    assert first.totals is not None
    assert second.totals is not None
    assert (first.totals.sent, first.totals.received) == (10_000, 9_990)
    assert second.totals.received == 10_000
    assert first.totals.running_ns == 10 * SECOND


def test_counts_of_an_earlier_trial_are_not_taken_but_waited_out(bench: Bench) -> None:
    bench.write("stream,sent,received\nl2 p1>p2,1,1\nl2 p2>p1,1,1\n")
    bench.run()
    bench.clock.plans.append((bench.clock.now_ns() + 60 * SECOND, bench.write))

    captures = bench.traffic.collect()

    assert [capture.totals.sent for capture in captures if capture.totals] == [10_000, 10_000]


def test_a_file_that_is_still_being_written_is_waited_for(bench: Bench) -> None:
    bench.run()
    bench.write("stream,sent,received\nl2 p1>p2,10000,9990\n")
    bench.clock.plans.append((bench.clock.now_ns() + SECOND // 2, bench.write))

    assert len(bench.traffic.collect()) == 2


def test_a_generator_that_writes_nothing_is_told_after_five_minutes(bench: Bench) -> None:
    bench.write()
    bench.run()

    with pytest.raises(
        TrafficError,
        match=r"counts.csv: nobody wrote the counts of this trial within 300 s\n"
        r"  fix: let the generator write the file after the traffic has stopped, then run again$",
    ):
        bench.traffic.collect()
    assert bench.clock.now_ns() == START_NS + 310 * SECOND


def test_a_stream_without_counts_is_named(bench: Bench) -> None:
    bench.run()
    bench.write("stream,sent,received\nl2 p1>p2,10000,9990\nother,1,1\n")

    with pytest.raises(
        TrafficError,
        match=r"counts.csv: there are no counts of l2 p2>p1\n"
        r"  fix: name every stream by its path and direction, e.g. egp p5>p6$",
    ):
        bench.traffic.collect()


def test_calls_out_of_order_are_refused(bench: Bench) -> None:
    bench.traffic.open(STREAMS, {}, run_id=1)
    for call in (bench.traffic.counts, bench.traffic.stop):
        with pytest.raises(TrafficError, match=r"^the streams were not started\n  fix: call start"):
            call()
    bench.traffic.start()
    with pytest.raises(TrafficError, match=r"^the streams were not stopped\n  fix: call stop\(\)"):
        bench.traffic.collect()
    bench.traffic.close()


def test_a_testbed_without_a_file_of_counts_is_refused() -> None:
    traffic = CountersTraffic(Site(TESTBED, Hands(), None, None))

    with pytest.raises(
        TrafficError, match=r"^testbeds/sample.yaml: nobody says where the counts of the generator"
    ):
        traffic.open(STREAMS, {}, run_id=1)
