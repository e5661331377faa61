"""When frames are due, and what becomes of a sender that stood still."""

from qualify.traffic.ring_schedule import Schedule

MS = 1_000_000


def schedule(rate_pps: int) -> Schedule:
    made = Schedule(rate_pps)
    made.start(1_000)
    return made


def test_frames_are_due_at_start_plus_k_divided_by_the_rate() -> None:
    made = schedule(3)
    assert made.due(999) == 0
    assert made.due(1_000) == 1
    made.take(1)
    assert made.next_due_ns == 1_000 + 333_333_334
    assert made.due(1_000 + 333_333_333) == 0
    assert made.due(1_000 + 333_333_334) == 1


def test_everything_that_came_due_meanwhile_is_due_at_once() -> None:
    made = schedule(1_000)
    made.take(made.due(1_000))
    assert made.due(1_000 + 3 * MS) == 3


def test_lateness_does_not_add_up() -> None:
    made = schedule(1_000)
    for turn in range(100):
        assert made.due(1_000 + turn * MS + 900_000) == 1
        made.take(1)
    assert made.next_due_ns == 1_000 + 100 * MS


def test_five_milliseconds_are_made_up_for_and_no_more() -> None:
    made = schedule(10_000)
    made.take(made.due(1_000))
    assert made.due(1_000 + 100_000 + 5 * MS) == 51
    assert made.skipped == 0
    made = schedule(10_000)
    made.take(made.due(1_000))
    assert made.due(1_000 + 100_000 + 25 * MS) == 51
    assert made.skipped == 200


def test_a_stall_is_later_than_a_millisecond_and_an_interval() -> None:
    made = schedule(10_000)
    made.due(1_000 + MS)
    assert (made.late, made.latest_ns) == (0, MS)
    made.due(1_000 + MS + 1)
    assert (made.late, made.latest_ns, made.latest_at_ns) == (1, MS + 1, 1_000 + MS + 1)
    slow = schedule(100)
    slow.due(1_000 + 10 * MS)
    assert slow.late == 0
    slow.due(1_000 + 10 * MS + 1)
    assert slow.late == 1
