"""The schedule, frame by frame."""

from qualify.traffic.pacing import Pacer, Slot


def take(pacer: Pacer, turns: int) -> list[Slot]:
    return [pacer.take(pacer.next_due_ns) for _ in range(turns)]


def test_equal_streams_interleave_evenly() -> None:
    """Two streams of 100 a second: one of them every 5 ms."""
    pacer = Pacer([100, 100], start_ns=1_000)
    assert take(pacer, 4) == [
        Slot(0, 1_000),
        Slot(1, 5_001_000),
        Slot(0, 10_001_000),
        Slot(1, 15_001_000),
    ]


def test_each_stream_keeps_its_own_rate() -> None:
    pacer = Pacer([300, 100], start_ns=0)
    slots = take(pacer, 8)
    assert [slot.due_ns for slot in slots if slot.stream == 0] == [
        0,
        3_333_333,
        6_666_666,
        10_000_000,
        13_333_333,
        16_666_666,
    ]
    assert [slot.due_ns for slot in slots if slot.stream == 1] == [5_000_000, 15_000_000]


def test_lateness_does_not_add_up() -> None:
    pacer = Pacer([1_000], start_ns=0)
    assert [pacer.take(pacer.next_due_ns + 900_000).due_ns for _ in range(3)] == [
        0,
        1_000_000,
        2_000_000,
    ]


def test_a_stall_of_fifty_milliseconds_is_made_up_for() -> None:
    pacer = Pacer([1_000], start_ns=0)
    assert [pacer.take(50_000_000).due_ns for _ in range(3)] == [0, 1_000_000, 2_000_000]


def test_a_longer_stall_is_not_turned_into_a_burst() -> None:
    pacer = Pacer([1_000], start_ns=0)
    assert pacer.take(50_000_001) == Slot(0, 0)
    assert pacer.next_due_ns == 51_000_001
