"""Real frames through a real bridge: our counts against those of the bridge's own kernel."""

import logging
import os
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from qualify.errors import TrafficError
from qualify.measure.capture import Capture, DoubtKind
from qualify.measure.gaps import RECEIVED_AFTER
from qualify.plan.stream import Stream
from qualify.traffic.scapy_backend import ScapyTraffic
from tests.measure.captures import lost_numbers
from tests.traffic.live_bridge import Bridge, bridge_lab, is_gone, stream, wait_until

pytestmark = pytest.mark.live

FORTH = stream(0, "p1", "p2")
BACK = stream(1, "p2", "p1")


@pytest.fixture(scope="module")
def bridge() -> Iterator[Bridge]:
    with bridge_lab() as built:
        yield built


@contextmanager
def traffic(
    bridge: Bridge, *streams: Stream, inside: bool = True, **options: int
) -> Iterator[ScapyTraffic]:
    backend = ScapyTraffic(bridge.site(inside=inside), **options)
    try:
        backend.open(streams, bridge.ports, run_id=0xABCD0123)
        backend.start()
        yield backend
    finally:
        backend.close()


def more_frames(backend: ScapyTraffic, frames: int, *, at: int = 0) -> None:
    """Wait until that many more frames of a stream have left."""
    before = backend.counts()[at].sent or 0
    wait_until(lambda: (backend.counts()[at].sent or 0) >= before + frames)


def finish(backend: ScapyTraffic) -> tuple[Capture, ...]:
    backend.stop()
    time.sleep(0.1)  # the longest that a frame can be under way on this machine
    return backend.collect()


def sent(capture: Capture) -> int:
    return capture.transmission.sent_frames


def loss_periods(capture: Capture) -> list[list[int]]:
    """Group lost numbers that follow one another."""
    periods: list[list[int]] = []
    for number in lost_numbers(capture):
        if periods and periods[-1][-1] == number - 1:
            periods[-1].append(number)
        else:
            periods.append([number])
    return periods


def test_a_bridge_that_does_nothing_wrong_loses_nothing(bridge: Bridge) -> None:
    before = bridge.lab.frame_counts("d1")
    largest = stream(1, "p2", "p1", frame_octets=1518)
    with traffic(bridge, FORTH, largest) as backend:
        more_frames(backend, 300)
        captures = finish(backend)
    after = bridge.lab.frame_counts("d1")

    for capture in captures:
        assert lost_numbers(capture) == []
        assert (capture.arrivals.duplicate, capture.arrivals.reordered) == (0, 0)
        assert capture.tester_dropped == 0
        assert capture.longest_stall_ns is not None
        assert (capture.arrivals.max_delay_ns or 0) > 0
        assert capture.doubts == ()
        assert np.median(np.diff(capture.transmission.at_ns)) == pytest.approx(2_000_000, rel=0.1)
    entered = [new.received - old.received for new, old in zip(after, before, strict=True)]
    assert entered[:2] == [sent(capture) for capture in captures]


def test_frames_dropped_doubled_or_led_astray_are_counted_to_the_frame(
    bridge: Bridge, caplog: pytest.LogCaptureFixture
) -> None:
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 100)
        with bridge.rule("forward", "drop") as dropped:
            more_frames(backend, 100)
        more_frames(backend, 100)
        with bridge.rule("ingress device e1", "dup to e2") as doubled:
            more_frames(backend, 50)
        more_frames(backend, 100)
        with bridge.rule("ingress device e1", "fwd to e3") as led_astray:
            more_frames(backend, 50)
        more_frames(backend, 100)
        impaired_ns = backend.counts()[0].impaired_ns
        with caplog.at_level(logging.INFO):
            forth, back = finish(backend)

    gaps = loss_periods(forth)
    assert [len(gap) for gap in gaps] == [dropped(), led_astray()]
    assert min(dropped(), doubled(), led_astray()) >= 40
    assert forth.arrivals.received == sent(forth) - dropped() - led_astray()
    assert forth.arrivals.duplicate == doubled()
    assert forth.tester_dropped == back.tester_dropped == 0
    assert loss_periods(back) == []
    # Running counts: the last impairment was noticed when the first frame after it arrived.
    assert impaired_ns == forth.arrivals.gaps[-1, RECEIVED_AFTER]
    assert "arrived at a port that they were not sent to" in caplog.text


def test_a_device_port_that_goes_down_costs_frames_and_the_tester_is_not_to_blame(
    bridge: Bridge,
) -> None:
    before = bridge.lab.frame_counts("d1")
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 100)
        bridge.device("ip link set e1 down")
        more_frames(backend, 150)
        bridge.device("ip link set e1 up")
        more_frames(backend, 100)
        forth, back = finish(backend)
    after = bridge.lab.frame_counts("d1")

    assert sent(forth) - len(lost_numbers(forth)) == after[1].sent - before[1].sent
    assert len(lost_numbers(forth)) >= 150
    assert len(lost_numbers(back)) >= 100
    assert forth.tester_dropped == back.tester_dropped == 0


def test_frames_that_find_the_receive_buffer_full_are_the_testers_own_drops(
    bridge: Bridge,
) -> None:
    with traffic(bridge, FORTH, BACK, inside=False, receive_buffer_octets=20_000) as backend:
        more_frames(backend, 50)
        receiver = backend._receiver
        assert receiver is not None
        os.kill(receiver.process.pid, signal.SIGSTOP)
        more_frames(backend, 150)
        os.kill(receiver.process.pid, signal.SIGCONT)
        more_frames(backend, 50)
        forth, back = finish(backend)

    assert len(lost_numbers(forth)) > 50
    assert forth.tester_dropped == len(lost_numbers(forth))
    assert back.tester_dropped == len(lost_numbers(back))
    assert {doubt.kind for doubt in forth.doubts} == {DoubtKind.RING_DROPS}


def test_a_tester_port_that_is_off_refuses_and_its_numbers_are_not_used_up(
    bridge: Bridge,
) -> None:
    port = bridge.lab.namespace("p1")
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 100)
        port.run("ip", "link", "set", "p1", "down")
        back_before = backend.counts()[1].sent or 0
        wait_until(lambda: (backend.counts()[1].sent or 0) >= back_before + 100)
        port.run("ip", "link", "set", "p1", "up")
        more_frames(backend, 100)
        forth, back = finish(backend)

    assert forth.tester_dropped is not None
    assert forth.tester_dropped >= 50
    assert (forth.transmission.longest_pause_ns or 0) > 100_000_000
    assert [doubt.kind for doubt in forth.doubts] == [DoubtKind.REFUSED_SENDS]
    assert back.arrivals.next_expected == sent(back)


def test_stop_takes_effect_within_a_tenth_of_a_second_and_receivers_go_on(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, BACK) as backend:
        more_frames(backend, 50)
        asked_ns = time.time_ns()
        backend.stop()
        answered_ns = time.time_ns()
        counts = backend.counts()
        captures = backend.collect()

    assert answered_ns - asked_ns < 100_000_000
    assert max(capture.transmission.ended_ns or 0 for capture in captures) <= answered_ns
    assert [count.sent for count in counts] == [sent(capture) for capture in captures]


def test_ctrl_c_does_not_end_the_workers_and_close_does(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, inside=False) as backend:
        assert backend._sender is not None
        assert backend._receiver is not None
        processes = [backend._sender.process.pid, backend._receiver.process.pid]
        for process in processes:
            os.kill(process, signal.SIGINT)
        more_frames(backend, 100)
        assert lost_numbers(finish(backend)[0]) == []

    assert all(is_gone(process) for process in processes)


def test_a_worker_that_dies_is_an_error_and_not_a_loss(bridge: Bridge) -> None:
    with traffic(bridge, FORTH, inside=False) as backend:
        more_frames(backend, 20)
        assert backend._receiver is not None
        os.kill(backend._receiver.process.pid, signal.SIGKILL)
        backend._receiver.process.wait()
        wait_until(lambda: backend._receiver is not None and backend._receiver._end is not None)
        with pytest.raises(TrafficError, match="the worker that should receive frames ended"):
            backend.counts()


def test_a_frame_larger_than_the_port_carries_is_refused_when_opened(bridge: Bridge) -> None:
    backend = ScapyTraffic(bridge.site(inside=True))
    too_large = stream(0, "p4", "p2", frame_octets=1519)
    bridge.lab.namespace("p4").run("ip", "link", "set", "p4", "mtu", "1500")
    with pytest.raises(TrafficError, match="port p4 carries IP packets of at most 1500 octets"):
        backend.open([too_large], bridge.ports, run_id=1)
    assert backend._sender is None
