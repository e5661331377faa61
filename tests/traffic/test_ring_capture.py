"""Every fault of the tester is attributed to the streams that it can touch, and to no other."""

import logging
from dataclasses import replace

import numpy as np
import pytest

from qualify.measure.arrivals import ArrivalAnalyser
from qualify.measure.capture import Doubt, DoubtKind
from qualify.measure.transmission import Transmission
from qualify.traffic.ring_capture import make_captures, tell_strays
from qualify.traffic.ring_messages import PortAccount, SentStream, WorkerAccount
from qualify.traffic.ring_result import Result
from tests.traffic.live_bridge import stream

FORTH, BACK, OTHER = stream(0, "p1", "p2"), stream(1, "p2", "p1"), stream(2, "p3", "p4")
STREAMS = (FORTH, BACK, OTHER)
POSITIONS = {"p1": 0, "p2": 1, "p3": 2, "p4": 3}
NOTHING = np.empty(0, dtype=np.int64)
SENT = SentStream(0, sent=0, refused=0, skipped=0, late=0, latest_ns=40_000, latest_at_ns=5)
PORT = PortAccount(0, 0, receive_drops=0, send_drops=0, foreign=0, misdelivered=0, was_off=False)
WORKER = WorkerAccount(
    backlog_drops=0,
    clock_step_ns=0,
    has_priority=True,
    cpu_ns=0,
    receive_cpu_ns=0,
    resident_octets=0,
)


def result() -> Result:
    return Result(
        transmissions=dict.fromkeys(range(3), Transmission(0, NOTHING, NOTHING)),
        sent=dict.fromkeys(range(3), SENT),
        arrivals={at: ArrivalAnalyser().finish() for at in range(3)},
        ports=dict.fromkeys(range(4), PORT),
        workers=[WORKER, WORKER],
    )


def doubts(given: Result) -> list[list[Doubt]]:
    return [list(capture.doubts) for capture in make_captures(STREAMS, POSITIONS, given)]


def kinds(given: Result) -> list[list[str]]:
    return [[doubt.kind.value for doubt in each] for each in doubts(given)]


def test_a_tester_without_a_fault_leaves_no_doubt() -> None:
    captures = make_captures(STREAMS, POSITIONS, result())
    assert [capture.doubts for capture in captures] == [(), (), ()]
    assert [capture.tester_dropped for capture in captures] == [0, 0, 0]
    assert [capture.longest_stall_ns for capture in captures] == [40_000] * 3
    assert [(each.stream, each.rate_pps, each.destinations) for each in captures] == [
        (0, 500, 3),
        (1, 500, 3),
        (2, 500, 3),
    ]


def test_a_full_ring_touches_the_streams_that_end_at_the_port() -> None:
    given = result()
    given.ports[1] = replace(PORT, ring_drops=12)
    assert kinds(given) == [["ring-drops"], [], []]
    assert doubts(given)[0][0].frames == 12
    assert make_captures(STREAMS, POSITIONS, given)[0].tester_dropped == 12


def test_an_interface_that_drops_touches_streams_by_direction() -> None:
    given = result()
    given.ports[0] = replace(PORT, send_drops=3, receive_drops=4)
    assert kinds(given) == [["interface-drops"], ["interface-drops"], []]
    assert [each[0].frames for each in doubts(given)[:2]] == [3, 4]


def test_refused_frames_touch_their_own_stream() -> None:
    given = result()
    given.sent[2] = replace(SENT, refused=9)
    assert kinds(given) == [[], [], ["refused-sends"]]


def test_backlog_drops_touch_every_stream_and_are_not_added_up_over_workers() -> None:
    given = result()
    given.workers = [replace(WORKER, backlog_drops=7), replace(WORKER, backlog_drops=8)]
    assert kinds(given) == [["backlog-drops"]] * 3
    assert {each[0].frames for each in doubts(given)} == {8}


def test_frames_that_the_interface_counts_as_dropped_from_the_backlog_count_once() -> None:
    given = result()
    given.ports[1] = replace(PORT, receive_drops=59)
    given.workers = [replace(WORKER, backlog_drops=61)] * 2
    captures = make_captures(STREAMS, POSITIONS, given)
    assert captures[0].tester_dropped == 61
    assert kinds(given) == [["backlog-drops"]] * 3
    given.ports[1] = replace(PORT, receive_drops=70)
    assert make_captures(STREAMS, POSITIONS, given)[0].tester_dropped == 70
    assert kinds(given)[0] == ["interface-drops", "backlog-drops"]


@pytest.mark.parametrize(
    ("at", "account"), [(2, replace(PORT, send_drops=None)), (3, replace(PORT, receive_drops=None))]
)
def test_a_counter_that_cannot_be_read_leaves_the_drops_unknown(
    at: int, account: PortAccount
) -> None:
    given = result()
    given.ports[at] = account
    captures = make_captures(STREAMS, POSITIONS, given)
    assert [capture.tester_dropped for capture in captures] == [0, 0, None]


def test_backlog_drops_that_one_worker_cannot_read_are_unknown() -> None:
    given = result()
    given.workers = [WORKER, replace(WORKER, backlog_drops=None)]
    captures = make_captures(STREAMS, POSITIONS, given)
    assert [capture.tester_dropped for capture in captures] == [None, None, None]


def test_a_port_that_was_switched_off_touches_both_directions() -> None:
    given = result()
    given.ports[0] = replace(PORT, was_off=True)
    assert kinds(given) == [["link-down"], ["link-down"], []]
    assert doubts(given)[0][0].words == "tester port p1 itself was switched off for a while"


def test_a_stall_touches_the_stream_that_was_late() -> None:
    given = result()
    given.sent[0] = replace(SENT, late=2, latest_ns=20_300_000)
    assert kinds(given) == [["stall"], [], []]
    assert doubts(given)[0] == [
        Doubt(DoubtKind.STALL, None, 20_300_000, "the sender was late 2 times, by up to 20.3 ms")
    ]


@pytest.mark.parametrize(("step_ns", "way"), [(2_000_000, "forward"), (-2_000_000, "back")])
def test_a_step_of_the_clock_touches_every_stream(step_ns: int, way: str) -> None:
    given = result()
    given.workers = [WORKER, replace(WORKER, clock_step_ns=step_ns)]
    assert [each[0].longest_ns for each in doubts(given)] == [2_000_000] * 3
    assert doubts(given)[1][0].words == f"the clock of this machine was set {way} by 2.0 ms"


def test_frames_of_another_run_touch_the_streams_that_end_where_they_arrive(
    caplog: pytest.LogCaptureFixture,
) -> None:
    given = result()
    given.ports[1] = replace(PORT, foreign=1_234, misdelivered=6)
    assert kinds(given) == [["foreign-frames"], [], []]
    assert doubts(given)[0][0].words == (
        "1 234 test frames of another run arrived at tester port p2"
    )
    with caplog.at_level(logging.INFO):
        tell_strays(given)
    assert "1234 test frames of another run arrived; ignored" in caplog.text
    assert "6 test frames arrived at a port that they were not sent to" in caplog.text
