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

    assert len(capture.sent_ns) == 2_000
    assert np.diff(capture.sent_ns).tolist() == [1_000_000] * 1_999
    assert capture.received.tolist() == list(range(2_000))
    assert capture.tester_dropped == 0


def test_a_blackout_of_ten_milliseconds_at_a_thousand_frames_a_second_loses_ten() -> None:
    backend, simulation, clock = traffic()
    clock.sleep(1)
    upgrade(simulation, TEN_MS)
    clock.sleep(1)
    backend.stop()

    captures = {capture.stream: capture for capture in backend.collect()}

    lost = set(range(2_000)) - set(captures[2].received.tolist())
    assert lost == set(range(1_000, 1_010))
    assert len(captures[0].received) == 2_000


def test_one_frame_in_three_is_lost_where_the_truth_says_so() -> None:
    backend, simulation, clock = traffic()
    upgrade(simulation, replace(TEN_MS, every=3))
    clock.sleep(1)

    received = backend.collect()[2].received.tolist()

    assert set(range(1_000)) - set(received) == {0, 3, 6, 9}


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
