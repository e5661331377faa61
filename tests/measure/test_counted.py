"""Totals prove less than frames: what they cannot tell is None, and their bounds are wide."""

from dataclasses import replace

import pytest

from qualify.errors import MeasurementError
from qualify.measure.counted import capture_totals, measure_capture
from qualify.measure.figures import StreamFigures
from qualify.measure.totals import Totals
from tests.measure.captures import even_capture

MS = 1_000_000
BARE = Totals(
    sent=1_000,
    received=990,
    lost=None,
    duplicate=None,
    reordered=None,
    loss_periods=None,
    longest_stall_ns=None,
    running_ns=1_000_000_000,
)
TOLD = replace(BARE, duplicate=0, longest_stall_ns=0)


def measure(totals: Totals) -> StreamFigures:
    capture = capture_totals(totals, stream=4, rate_pps=1_000, destinations=3, tester_dropped=0)
    return measure_capture(capture)


def test_what_totals_do_not_tell_is_not_known() -> None:
    figures = measure(BARE)

    assert figures.stream == 4
    assert (figures.duplicate, figures.reordered, figures.longest_stall_ns) == (None, None, None)
    assert (figures.longest_ns, figures.receive_gap_ns, figures.max_delay_ns) == (None, None, None)
    assert figures.loss_period_count is None
    assert (figures.loss_periods, figures.destinations) == ((), ())
    assert figures.offered_pps == 1_000.0


def test_ten_lost_frames_are_between_one_outage_and_ten() -> None:
    """RFC 6413 §6.3.3 for k periods: (n - k) to (n + k) intervals, here with k from 1 to n."""
    figures = measure(TOLD)

    assert (figures.lost, figures.received, figures.outage_ns) == (10, 990, 10 * MS)
    assert (figures.outage_low_ns, figures.outage_high_ns) == (0, 20 * MS)


def test_a_known_number_of_loss_periods_narrows_the_bounds() -> None:
    figures = measure(replace(TOLD, loss_periods=1))

    assert (figures.outage_low_ns, figures.outage_high_ns) == (9 * MS, 11 * MS)
    assert (figures.longest_ns, figures.loss_period_count) == (10 * MS, 1)


def test_few_arrivals_part_the_lost_frames_into_few_periods() -> None:
    """Between any two loss periods lies an arrival (RFC 3357): 2 arrivals, at most 3 periods."""
    figures = measure(replace(TOLD, received=2))

    assert figures.lost == 998
    assert (figures.outage_low_ns, figures.outage_high_ns) == (995 * MS, 1_001 * MS)


def test_a_stall_widens_the_bounds_for_every_period() -> None:
    figures = measure(replace(TOLD, loss_periods=2, longest_stall_ns=3 * MS))

    assert (figures.outage_low_ns, figures.outage_high_ns) == (2 * MS, 18 * MS)


def test_without_knowledge_of_stalls_a_loss_may_have_taken_no_time() -> None:
    figures = measure(replace(TOLD, loss_periods=1, longest_stall_ns=None))

    assert figures.outage_low_ns == 0


def test_no_loss_is_an_outage_below_one_interval_and_the_stall() -> None:
    figures = measure(replace(TOLD, received=1_000, longest_stall_ns=MS))

    assert (figures.lost, figures.outage_ns, figures.outage_low_ns) == (0, 0, 0)
    assert figures.outage_high_ns == 2 * MS
    assert (figures.longest_ns, figures.loss_period_count) == (0, 0)


def test_O_SCN_06_a_plain_difference_of_counts_hides_loss_behind_duplicates() -> None:
    """RFC 4689 §3.3.5: 1 000 sent, 990 different arrived, 10 of them twice: 10 lost, not 0."""
    plain = measure(replace(BARE, received=1_000))
    told = measure(replace(BARE, received=1_000, duplicate=10))

    assert (plain.lost, plain.duplicate) == (0, None)
    assert plain.outage_high_ns == 1_001 * MS
    assert plain.loss_period_count is None
    assert (told.lost, told.duplicate, told.received) == (10, 10, 990)


def test_O_LOSS_04_more_arrivals_than_frames_are_no_negative_loss() -> None:
    """Copies that are not told apart: the least loss is 0, the most all but one frame."""
    figures = measure(replace(BARE, received=1_200))

    assert (figures.lost, figures.outage_ns, figures.outage_high_ns) == (0, 0, 1_001 * MS)


def test_a_generator_that_numbers_its_frames_tells_the_duplicates_too() -> None:
    figures = measure(replace(BARE, received=1_000, lost=10))

    assert (figures.lost, figures.duplicate) == (10, 10)


def test_nothing_sent_gives_no_outage() -> None:
    figures = measure(replace(BARE, sent=0, received=0, running_ns=0))

    assert (figures.sent, figures.lost, figures.offered_pps) == (0, 0, None)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"received": 1_010, "duplicate": 3}, "1010 received, -7 lost and 3 duplicate"),
        ({"lost": 11, "duplicate": 0}, "990 received, 11 lost and 0 duplicate"),
        ({"received": 980, "lost": 10}, "980 received, 10 lost and -10 duplicate"),
        ({"received": 5, "duplicate": 6}, "5 received, 1001 lost and 6 duplicate"),
    ],
)
def test_totals_that_do_not_add_up_give_no_figures(change: dict[str, int], words: str) -> None:
    with pytest.raises(
        MeasurementError,
        match=rf"^the generator counted 1000 sent, {words} frames, which do not add up\n  fix: ",
    ):
        measure(replace(BARE, **change))


@pytest.mark.parametrize(("received", "periods"), [(990, 0), (990, 11), (1_000, 1)])
def test_an_impossible_number_of_loss_periods_gives_no_figures(received: int, periods: int) -> None:
    with pytest.raises(MeasurementError, match=rf"counted {periods} loss periods, but"):
        measure(replace(TOLD, received=received, loss_periods=periods))


def test_a_stream_whose_frames_are_known_is_measured_by_them() -> None:
    figures = measure_capture(even_capture(sent=100, lost=(5,)))

    assert (figures.lost, figures.loss_period_count, figures.totals) == (1, 1, None)
