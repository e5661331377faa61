"""When frames left, one by one and by the batch."""

import numpy as np
import pytest

from qualify.measure import transmission as module
from qualify.measure.transmission import Transmission
from tests.measure.captures import numbers, sent_at

# Numbers 0 to 3 left at 100, 4 alone at 150, 5 to 9 at 170.
BATCHES = Transmission(10, first=numbers(0, 4, 5), at_ns=numbers(100, 150, 170))


def test_the_longest_pause_needs_two_frames() -> None:
    assert sent_at(0, 10, 45, 50).longest_pause_ns == 35
    assert sent_at(7).longest_pause_ns is None
    assert sent_at().longest_pause_ns is None


def test_frames_of_one_batch_left_at_the_same_time() -> None:
    assert BATCHES.time_of(numbers(9, 0, 3, 4, 5)).tolist() == [170, 100, 100, 150, 170]
    assert (BATCHES.started_ns, BATCHES.ended_ns) == (100, 170)
    assert BATCHES.longest_pause_ns == 50


def test_one_batch_of_several_frames_has_no_pause() -> None:
    assert Transmission(3, numbers(0), numbers(100)).longest_pause_ns == 0


@pytest.mark.parametrize(
    ("moment_ns", "frames"), [(100, 0), (101, 4), (150, 4), (151, 5), (170, 5), (171, 10)]
)
def test_frames_are_counted_up_to_a_moment(moment_ns: int, frames: int) -> None:
    assert BATCHES.frames_before(moment_ns) == frames


def test_nothing_sent_has_no_times() -> None:
    nothing = sent_at()
    assert (nothing.started_ns, nothing.ended_ns, nothing.find_reversal()) == (None, None, None)
    assert nothing.frames_before(5) == 0
    assert nothing.time_of(numbers()).tolist() == []


def test_a_clock_that_goes_back_is_found_where_it_went_the_farthest() -> None:
    assert BATCHES.find_reversal() is None
    back = Transmission(9, first=numbers(0, 2, 4, 6), at_ns=numbers(100, 90, 120, 60))
    assert back.find_reversal() == (6, 60)


def test_a_long_log_is_looked_through_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_PIECE", 4)
    times_ns = np.arange(20) * 10
    times_ns[8:] += 25  # between two pieces
    assert sent_at(*times_ns.tolist()).longest_pause_ns == 35
    times_ns[12:] -= 18
    assert sent_at(*times_ns.tolist()).find_reversal() == (12, 8)
