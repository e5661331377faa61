"""Simulated traffic loses exactly the frames that leave inside a blackout."""

from dataclasses import replace

import numpy as np
import pytest

from qualify.clock import VirtualClock
from qualify.errors import TrafficError
from qualify.plan.addressing import address_testbed
from qualify.plan.streams import plan_streams
from qualify.simulation.simulation import Simulation
from qualify.site import Site
from qualify.testbed.image import Interruption
from qualify.testbed.testbed import PathKind
from qualify.traffic.simulated import DELAY_NS, SimulatedTraffic
from tests.measure.captures import lost_numbers
from tests.sample import CASE, TESTBED, UNTOUCHED, image

START_NS = 1_000_000_000_000
STREAMS = plan_streams(TESTBED, CASE, address_testbed(TESTBED))
TEN_MS = Interruption(after_ns=0, outage_ns=10_000_000, every=1, towards=None)


def traffic() -> tuple[SimulatedTraffic, Simulation, VirtualClock]:
    clock = VirtualClock(START_NS)
    simulation = Simulation(TESTBED, clock)
    simulation.boot("d1", image("5.1.0"))
    backend = SimulatedTraffic(Site(TESTBED, clock, None, simulation))
    backend.open(STREAMS, {}, run_id=1)
    backend.start()
    return backend, simulation, clock


def upgrade(simulation: Simulation, *interruptions: Interruption) -> None:
    behaviour = replace(UNTOUCHED, interruptions={PathKind.IGP: interruptions})
    simulation.upgrade("d1", image("5.2.0", behaviour))


def test_frames_leave_exactly_at_the_rate() -> None:
    backend, _, clock = traffic()
    clock.sleep(2)
    backend.stop()
    clock.sleep(2)

    capture = backend.collect()[0]

    assert capture.transmission.sent_frames == 2_000
    sent_ns = capture.transmission.time_of(np.arange(2_000))
    assert np.diff(sent_ns).tolist() == [1_000_000] * 1_999
    assert (capture.arrivals.received, capture.arrivals.next_expected) == (2_000, 2_000)
    assert capture.tester_dropped == 0


def test_a_blackout_of_ten_milliseconds_at_a_thousand_frames_a_second_loses_ten() -> None:
    backend, simulation, clock = traffic()
    clock.sleep(1)
    upgrade(simulation, TEN_MS)
    clock.sleep(1)
    backend.stop()

    captures = {capture.stream: capture for capture in backend.collect()}

    assert lost_numbers(captures[2]) == list(range(1_000, 1_010))
    assert captures[0].arrivals.received == 2_000


def test_one_frame_in_three_is_lost_where_the_truth_says_so() -> None:
    backend, simulation, clock = traffic()
    upgrade(simulation, replace(TEN_MS, every=3))
    clock.sleep(1)

    assert lost_numbers(backend.collect()[2]) == [0, 3, 6, 9]


def test_a_blackout_is_told_to_the_frame_however_long_the_stream_is() -> None:
    # 100 s are 100 000 frames a stream, which arrive in several pieces.
    backend, simulation, clock = traffic()
    clock.sleep(65.536 - 0.003)
    upgrade(simulation, TEN_MS, Interruption(1_000_000_000, 3_000_000_000, every=700, towards=None))
    clock.sleep(40)

    expected = [*range(65_533, 65_543), *range(66_533, 69_533, 700)]
    assert lost_numbers(backend.collect()[2]) == expected


def test_blackouts_that_overlap_take_each_their_own() -> None:
    backend, simulation, clock = traffic()
    thin = Interruption(after_ns=0, outage_ns=20_000_000, every=4, towards=None)
    upgrade(simulation, thin, replace(TEN_MS, after_ns=5_000_000, outage_ns=3_000_000))
    clock.sleep(1)

    assert lost_numbers(backend.collect()[2]) == [0, 4, 5, 6, 7, 8, 12, 16]


def test_streams_of_one_rate_share_when_their_frames_left() -> None:
    backend, _, clock = traffic()
    clock.sleep(1)

    first, second = backend.collect()[:2]

    assert first.transmission is second.transmission


def test_the_running_counts_see_what_the_captures_show() -> None:
    backend, simulation, clock = traffic()
    clock.sleep(1)
    upgrade(simulation, TEN_MS, replace(TEN_MS, after_ns=5_000_000))
    clock.sleep(1)

    count = backend.counts()[2]

    assert (count.sent, count.received) == (2_000, 1_985)
    assert count.impaired_ns == START_NS + 1_014_000_000 + DELAY_NS
    assert count.last_received_ns == START_NS + 1_999_000_000 + DELAY_NS


def test_a_stream_in_the_middle_of_a_blackout_was_last_received_before_it() -> None:
    backend, simulation, clock = traffic()
    clock.sleep(1)
    upgrade(simulation, TEN_MS)
    clock.sleep(0.005)

    assert backend.counts()[2].last_received_ns == START_NS + 999_000_000 + DELAY_NS


def test_a_stream_that_never_arrives_was_never_received() -> None:
    backend, simulation, clock = traffic()
    upgrade(simulation, TEN_MS)
    clock.sleep(0.005)

    assert backend.counts()[2].last_received_ns is None
    assert backend.counts()[0].impaired_ns is None


def test_counting_before_the_start_is_refused() -> None:
    backend, _, _ = traffic()
    backend.open(STREAMS, {}, run_id=1)

    with pytest.raises(TrafficError, match=r"^the streams were not started"):
        backend.counts()
