"""Loss, order and repetition by number alone."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.errors import MeasurementError
from qualify.measure.arrivals import Arrivals
from qualify.measure.sequence import (
    LossRuns,
    check_conservation,
    count_lost,
    find_destination_periods,
    find_loss_periods,
)
from tests.measure.captures import arrivals_of, runs_of


def lost_numbers(runs: LossRuns) -> list[int]:
    """Every lost number, in the order of the periods."""
    return [
        number
        for first, last in zip(runs.first.tolist(), runs.last.tolist(), strict=True)
        for number in range(first, last + 1, runs.stride)
    ]


def find_lost(arrivals: Arrivals, *, sent_frames: int) -> list[int]:
    return lost_numbers(find_loss_periods(arrivals, sent_frames=sent_frames))


def test_what_never_arrived_is_lost() -> None:
    assert find_lost(arrivals_of(0, 1, 4, 6), sent_frames=8) == [2, 3, 5, 7]


def test_order_and_repetition_do_not_make_a_frame_lost() -> None:
    assert find_lost(arrivals_of(3, 1, 1, 0, 2, 3), sent_frames=4) == []


def test_nothing_received_is_everything_lost() -> None:
    assert find_lost(arrivals_of(), sent_frames=3) == [0, 1, 2]


def test_nothing_sent_is_nothing_lost() -> None:
    assert find_lost(arrivals_of(), sent_frames=0) == []


@pytest.mark.parametrize("stray", [4, -1])
def test_a_number_that_was_never_sent_is_refused(stray: int) -> None:
    with pytest.raises(
        MeasurementError,
        match=rf"^frame number {stray} arrived, but only 4 frames were sent\n  fix:",
    ):
        find_lost(arrivals_of(0, 1, stray, 2), sent_frames=4)


def test_a_run_of_lost_numbers_is_one_loss_period() -> None:
    runs = find_loss_periods(arrivals_of(0, 1, 5, 6, 7, 8, 10), sent_frames=13)
    assert runs.first.tolist() == [2, 9, 11]
    assert runs.last.tolist() == [4, 9, 12]
    assert runs.frames.tolist() == [3, 1, 2]


def test_no_loss_has_no_loss_period() -> None:
    runs = find_loss_periods(arrivals_of(0, 1, 2), sent_frames=3)
    assert runs.first.tolist() == []
    assert runs.frames.tolist() == []


def test_each_destination_has_loss_periods_of_its_own() -> None:
    # Three destinations; destination 0 lost its frames 3 and 6 in a row, and 12 by itself.
    runs = find_destination_periods(runs_of(3, 5, 6, 12, 14), destinations=3)
    assert runs.first.tolist() == [3, 12, 5, 14]
    assert runs.last.tolist() == [6, 12, 5, 14]
    assert runs.frames.tolist() == [2, 1, 1, 1]


def test_a_late_frame_is_reordered_and_a_second_copy_is_not() -> None:
    arrivals = arrivals_of(0, 3, 1, 3, 1, 4)
    assert (arrivals.received, arrivals.duplicate, arrivals.reordered) == (4, 2, 1)


def test_a_late_first_copy_that_comes_twice_is_reordered_once() -> None:
    arrivals = arrivals_of(5, 2, 2, 2)
    assert (arrivals.received, arrivals.duplicate, arrivals.reordered) == (2, 2, 1)


def test_no_arrival_is_no_disorder() -> None:
    arrivals = arrivals_of()
    assert (arrivals.received, arrivals.duplicate, arrivals.reordered) == (0, 0, 0)


def test_counts_that_do_not_add_up_are_refused() -> None:
    check_conservation(sent=10, distinct=7, lost=3)
    with pytest.raises(
        MeasurementError, match=r"^10 frames were sent, but 7 arrived and 4 were lost\n  fix: keep"
    ):
        check_conservation(sent=10, distinct=7, lost=4)


def _one_by_one(received: list[int]) -> tuple[int, int, int]:
    """RFC 4737 §3.3 as it is written: distinct, duplicate, reordered."""
    seen: set[int] = set()
    next_expected = duplicate = reordered = 0
    for number in received:
        if number in seen:
            duplicate += 1
        elif number < next_expected:
            reordered += 1
        else:
            next_expected = number + 1
        seen.add(number)
    return len(seen), duplicate, reordered


@given(st.lists(st.integers(0, 30), max_size=60))
def test_any_order_repetition_and_loss_keeps_every_frame_accounted_for(received: list[int]) -> None:
    arrivals = arrivals_of(*received)
    runs = find_loss_periods(arrivals, sent_frames=31)
    assert lost_numbers(runs) == sorted(set(range(31)) - set(received))
    assert arrivals.received + count_lost(arrivals, runs) == 31
    assert (arrivals.received, arrivals.duplicate, arrivals.reordered) == _one_by_one(received)


@given(st.sets(st.integers(0, 40)), st.integers(1, 7))
def test_loss_periods_hold_every_lost_frame_once(lost: set[int], destinations: int) -> None:
    runs = find_destination_periods(runs_of(*sorted(lost)), destinations=destinations)
    assert sorted(lost_numbers(runs)) == sorted(lost)
    assert not {first - destinations for first in runs.first.tolist()} & lost
    assert not {last + destinations for last in runs.last.tolist()} & lost
