"""What arrived, whatever its order, repetition and loss, against a count by sets and loops."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.measure.arrivals import ArrivalAnalyser, ArrivalCounts, Arrivals
from qualify.measure.gaps import NO_TIME_NS

WIRE = 2**32


def analyse(
    received: Sequence[int],
    *,
    chunks: Sequence[int] = (),
    most_gaps: int = 1_000_000,
    analyser: ArrivalAnalyser | None = None,
) -> Arrivals:
    """Feed numbers; number n left at 10 n, and the arrival at place i came at 1 000 000 + i."""
    analyser = analyser or ArrivalAnalyser(most_gaps=most_gaps)
    edges = [0, *chunks, len(received)]
    for start, end in pairwise(edges):
        piece = np.array(received[start:end], dtype=np.int64)
        analyser.take(
            (piece % WIRE).astype(np.uint32),
            piece * 10,
            np.arange(1_000_000 + start, 1_000_000 + end, dtype=np.int64),
        )
        assert analyser.counts.duplicate >= 0  # asking for the counts ends a chunk
    return analyser.finish()


def runs(arrivals: Arrivals) -> list[list[int]]:
    return [[first, frames] for first, frames, *_ in arrivals.gaps.tolist()]


def test_nothing_arrived() -> None:
    arrivals = ArrivalAnalyser().finish()
    assert (arrivals.received, arrivals.next_expected, arrivals.missing) == (0, 0, 0)
    assert arrivals.gaps.shape == (0, 6)
    assert arrivals.max_delay_ns is None


def test_an_empty_chunk_changes_nothing() -> None:
    analyser = ArrivalAnalyser()
    analyse([], analyser=analyser)
    assert analyser.counts == ArrivalCounts(0, 0, 0, 0, 0, None, None)


def test_frames_in_order_leave_no_gap_and_no_impairment() -> None:
    analyser = ArrivalAnalyser()
    arrivals = analyse(range(6), chunks=[2, 2, 5], analyser=analyser)
    assert (arrivals.received, arrivals.next_expected, runs(arrivals)) == (6, 6, [])
    assert analyser.counts == ArrivalCounts(6, 0, 0, 0, 0, None, 1_000_005)


def test_a_gap_knows_when_the_frames_around_it_left_and_arrived() -> None:
    arrivals = analyse([0, 1, 5, 6])
    assert arrivals.gaps.tolist() == [[2, 3, 10, 50, 1_000_001, 1_000_002]]


def test_a_gap_between_two_chunks_is_the_same_gap() -> None:
    arrivals = analyse([0, 1, 5, 6], chunks=[2])
    assert arrivals.gaps.tolist() == [[2, 3, 10, 50, 1_000_001, 1_000_002]]


def test_what_is_missing_before_the_first_arrival_has_no_time_before_it() -> None:
    arrivals = analyse([3, 4])
    assert arrivals.gaps.tolist() == [[0, 3, NO_TIME_NS, 30, NO_TIME_NS, 1_000_000]]


def test_a_late_frame_splits_its_gap() -> None:
    # 2 to 6 are missing until 4 comes.
    arrivals = analyse([0, 1, 7, 4], chunks=[3])
    assert arrivals.gaps.tolist() == [
        [2, 2, 10, 40, 1_000_001, 1_000_003],
        [5, 2, 40, 70, 1_000_003, 1_000_002],
    ]
    assert (arrivals.received, arrivals.reordered, arrivals.duplicate) == (4, 1, 0)


def test_late_frames_at_its_ends_shrink_a_gap() -> None:
    arrivals = analyse([0, 6, 1, 5])
    assert arrivals.gaps.tolist() == [[2, 3, 10, 50, 1_000_002, 1_000_003]]


def test_several_late_frames_of_several_gaps_fill_them() -> None:
    arrivals = analyse([0, 4, 9, 10, 14, 12, 2, 8, 3, 1, 6], chunks=[5])
    assert runs(arrivals) == [[5, 1], [7, 1], [11, 1], [13, 1]]
    assert (arrivals.received, arrivals.reordered) == (11, 6)


def test_a_late_first_copy_that_comes_twice_is_reordered_once() -> None:
    arrivals = analyse([5, 2, 2, 2])
    assert (arrivals.received, arrivals.duplicate, arrivals.reordered) == (2, 2, 1)


def test_copies_are_noted_by_number_and_reordered_frames_by_what_overtook_them() -> None:
    arrivals = analyse([0, 9, 3, 2, 1, 5, 9, 0])
    assert arrivals.duplicate_numbers.tolist() == [0, 9]
    # 3 and 5 were overtaken by 9, 2 by 3, and 1 by 2.
    assert arrivals.overtaking_numbers.tolist() == [2, 3, 9, 9]


def test_of_very_many_copies_the_lowest_numbers_are_noted_and_all_are_counted() -> None:
    once = list(range(25_000))
    arrivals = analyse([*once, *reversed(once[5:]), 3], chunks=[30_000, 40_000])
    assert arrivals.duplicate == 24_996
    assert arrivals.duplicate_numbers.tolist() == [3, *range(5, 10_004)]
    assert arrivals.reordered == 0


def test_of_very_many_reordered_frames_the_lowest_are_noted_and_all_are_counted() -> None:
    swapped = [number ^ 1 for number in range(60_000)]
    arrivals = analyse(swapped, chunks=[25_000, 50_000])
    assert arrivals.reordered == 30_000
    assert arrivals.overtaking_numbers.tolist() == list(range(1, 20_000, 2))


def test_the_largest_delay_is_that_of_a_first_copy() -> None:
    analyser = ArrivalAnalyser()
    for number, sent_ns, received_ns in [(0, 0, 40), (2, 20, 90), (1, 10, 95), (1, 10, 999)]:
        analyser.take(
            np.array([number], dtype=np.uint32), np.array([sent_ns]), np.array([received_ns])
        )
    assert analyser.finish().max_delay_ns == 85


def test_stamps_that_run_backwards_give_no_delay() -> None:
    analyser = ArrivalAnalyser()
    analyser.take(np.array([0], dtype=np.uint32), np.array([50]), np.array([49]))
    assert analyser.finish().max_delay_ns is None


@pytest.mark.parametrize(
    ("received", "impaired_ns"),
    [
        ([0, 1, 3, 4], 1_000_002),
        ([0, 1, 1, 2], 1_000_002),
        ([0, 2, 1, 3, 4], 1_000_002),
        ([1, 2], 1_000_000),
        ([0, 1, 1, 2, 4, 5], 1_000_004),
    ],
)
def test_an_impairment_is_seen_when_the_frame_arrives_that_shows_it(
    received: list[int], impaired_ns: int
) -> None:
    every_frame: Sequence[int] = range(len(received))
    for chunks in (every_frame[:0], every_frame):
        analyser = ArrivalAnalyser()
        analyse(received, chunks=chunks, analyser=analyser)
        assert analyser.counts.impaired_ns == impaired_ns


def test_o_seq_15_a_wire_number_wraps_and_the_count_goes_on() -> None:
    """RFC 4737 §6: rollover must be detected; derived: 4 294 967 296 numbers on the wire."""
    near_the_end = WIRE - 3
    analyser = ArrivalAnalyser()
    for first in (0, WIRE // 2 - 1):
        analyse([first], analyser=analyser)
    arrivals = analyse(
        [near_the_end, WIRE - 2, WIRE + 1, WIRE - 1, WIRE + 2, WIRE + 2],
        chunks=[1, 3],
        analyser=analyser,
    )
    assert arrivals.next_expected == 4_294_967_299
    assert runs(arrivals)[2:] == [[4_294_967_296, 1]]
    assert (arrivals.received, arrivals.reordered, arrivals.duplicate) == (7, 1, 1)


def test_frames_in_order_go_on_across_the_wrap() -> None:
    analyser = ArrivalAnalyser()
    analyse([WIRE - 4], analyser=analyser)
    arrivals = analyse(range(WIRE - 3, WIRE + 4), analyser=analyser)
    assert (arrivals.next_expected, arrivals.received) == (4_294_967_300, 8)
    assert runs(arrivals) == [[0, 4_294_967_292]]


def test_a_number_below_the_first_was_never_sent_and_is_noted() -> None:
    for chunks in ([], [2], [1, 2, 3]):
        arrivals = analyse([1, -1, 0, 2], chunks=chunks)
        assert arrivals.duplicate_numbers.tolist() == [-1]
        assert (arrivals.received, arrivals.next_expected) == (3, 3)


def test_a_first_number_may_be_any() -> None:
    assert analyse([WIRE - 1]).next_expected == 4_294_967_296


def test_gaps_beyond_the_bound_are_counted_and_their_late_frames_are_undecidable() -> None:
    arrivals = analyse([1, 3, 5, 7, 9, 2, 6, 1, 9], chunks=[5], most_gaps=3)
    # 0 and 2 were forgotten: whether 2 and 1 are late or copies, nobody can tell.
    assert (arrivals.forgotten_gaps, arrivals.forgotten_frames) == (2, 2)
    assert (arrivals.undecidable, arrivals.reordered, arrivals.duplicate) == (2, 1, 1)
    assert runs(arrivals) == [[4, 1], [8, 1]]
    assert (arrivals.received, arrivals.missing) == (6, 4)


def test_a_split_beyond_the_bound_forgets_the_lowest_gap() -> None:
    arrivals = analyse([1, 3, 9, 6], most_gaps=3)
    assert (arrivals.forgotten_gaps, arrivals.forgotten_frames) == (1, 1)
    assert runs(arrivals) == [[2, 1], [4, 2], [7, 2]]


def test_a_thousand_gaps_and_more_are_kept() -> None:
    arrivals = analyse(range(0, 8_000, 2), chunks=[1_000, 1_500])
    assert runs(arrivals) == [[number, 1] for number in range(1, 7_998, 2)]


def test_memory_is_bounded_by_the_number_of_gaps() -> None:
    analyser = ArrivalAnalyser(most_gaps=100)
    for start in range(0, 100_000, 1_000):
        analyse(range(start, start + 1_000, 2), analyser=analyser)
    arrivals = analyser.finish()
    assert 80 <= len(arrivals.gaps) <= 100
    assert arrivals.forgotten_gaps + len(arrivals.gaps) == 49_999
    assert arrivals.forgotten_frames + arrivals.gaps[:, 1].sum() == arrivals.missing == 49_999


class Reference:
    """RFC 4737 §3.3 and RFC 3357 §4 as they are written, number by number."""

    def __init__(self, received: Sequence[int]) -> None:
        self.first_copies: dict[int, int] = {}
        self.next_expected = 0
        self.duplicates: list[int] = []
        self.overtaking: list[int] = []
        self.impaired_ns: int | None = None
        for place, number in enumerate(received):
            if number != self.next_expected:
                self.impaired_ns = 1_000_000 + place
            if number in self.first_copies:
                self.duplicates.append(number)
                continue
            if number < self.next_expected:
                self.overtaking.append(min(n for n in self.first_copies if n > number))
            self.next_expected = max(self.next_expected, number + 1)
            self.first_copies[number] = place

    def gaps(self) -> list[list[int]]:
        """Return the runs between neighboring numbers that arrived."""
        found = []
        before: int | None = None
        for after in sorted(self.first_copies):
            first = 0 if before is None else before + 1
            if first < after:
                found.append([first, after - first, *self._times(before, after)])
            before = after
        return found

    def _times(self, before: int | None, after: int) -> list[int]:
        arrived_ns = 1_000_000 + self.first_copies[after]
        if before is None:
            return [NO_TIME_NS, 10 * after, NO_TIME_NS, arrived_ns]
        return [10 * before, 10 * after, 1_000_000 + self.first_copies[before], arrived_ns]


@st.composite
def _arriving(draw: st.DrawFn) -> tuple[list[int], list[int]]:
    """Numbers in any order, mostly ascending, and where to cut them into chunks."""
    length = draw(st.integers(0, 60))
    numbers = draw(
        st.one_of(
            st.lists(st.integers(0, 40), max_size=60),
            st.lists(st.integers(-3, 3), min_size=length, max_size=length).map(
                lambda shifts: [max(0, at + shift) for at, shift in enumerate(shifts)]
            ),
        )
    )
    chunks = draw(st.lists(st.integers(0, len(numbers)), max_size=5).map(sorted))
    return numbers, chunks


@settings(max_examples=400, deadline=None)
@given(_arriving())
def test_any_order_repetition_and_loss_is_told_as_the_rfcs_say(
    arriving: tuple[list[int], list[int]],
) -> None:
    received, chunks = arriving
    reference = Reference(received)
    analyser = ArrivalAnalyser()
    arrivals = analyse(received, chunks=chunks, analyser=analyser)
    assert arrivals.received == len(reference.first_copies)
    assert arrivals.duplicate == len(reference.duplicates)
    assert arrivals.reordered == len(reference.overtaking)
    assert arrivals.undecidable == arrivals.forgotten_gaps == arrivals.forgotten_frames == 0
    assert arrivals.next_expected == reference.next_expected
    assert arrivals.gaps.tolist() == reference.gaps()
    assert arrivals.duplicate_numbers.tolist() == sorted(reference.duplicates)
    assert arrivals.overtaking_numbers.tolist() == sorted(reference.overtaking)
    assert analyser.counts.impaired_ns == reference.impaired_ns
    assert analyser.counts.missing == arrivals.missing


@settings(deadline=None)
@given(_arriving())
def test_sent_is_distinct_and_lost_whatever_happens(arriving: tuple[list[int], list[int]]) -> None:
    received, chunks = arriving
    arrivals = analyse(received, chunks=chunks)
    sent = max(received, default=-1) + 6  # five more were sent, and lost
    lost = set(range(sent)) - set(received)
    tail = sent - arrivals.next_expected
    assert arrivals.received + int(arrivals.gaps[:, 1].sum()) + tail == sent
    assert int(arrivals.gaps[:, 1].sum()) + tail == len(lost)


@settings(deadline=None)
@given(_arriving(), st.integers(1, 12))
def test_a_bounded_memory_never_tells_a_wrong_number(
    arriving: tuple[list[int], list[int]], most_gaps: int
) -> None:
    received, chunks = arriving
    reference = Reference(received)
    arrivals = analyse(received, chunks=chunks, most_gaps=most_gaps)
    assert len(arrivals.gaps) <= most_gaps
    assert arrivals.received + arrivals.duplicate + arrivals.undecidable == len(received)
    assert arrivals.missing == arrivals.gaps[:, 1].sum() + arrivals.forgotten_frames
    unknown = arrivals.undecidable
    assert 0 <= len(reference.duplicates) - arrivals.duplicate <= unknown
    assert 0 <= len(reference.overtaking) - arrivals.reordered <= unknown
    assert 0 <= len(reference.first_copies) - arrivals.received <= unknown
    assert all(gap in reference.gaps() for gap in arrivals.gaps.tolist())
