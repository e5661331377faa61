"""Loss as time, with bounds by counting and by real transmit times."""

from fractions import Fraction

from qualify.measure.figures import LossPeriod
from qualify.measure.outage import (
    Bounds,
    bound_by_count,
    bound_by_transmit_times,
    bound_no_loss,
    estimate_outage,
    find_interval,
    list_loss_periods,
)
from tests.measure.captures import runs_of, sent_at

MS = Fraction(1_000_000)


def test_the_interval_is_exact_where_a_nanosecond_is_not() -> None:
    assert find_interval(3) == Fraction(1_000_000_000, 3)
    assert find_interval(10_000, destinations=12_000) == 1_200_000_000


def test_an_estimate_is_rounded_up() -> None:
    assert estimate_outage(1, interval_ns=find_interval(3)) == 333_333_334
    assert estimate_outage(483, interval_ns=find_interval(10_000)) == 48_300_000
    assert estimate_outage(0, interval_ns=MS) == 0


def test_bounds_are_rounded_outwards() -> None:
    third = find_interval(3)
    assert bound_by_count(2, periods=1, interval_ns=third) == Bounds(333_333_333, 1_000_000_000)
    assert bound_by_count(4, periods=3, interval_ns=third) == Bounds(333_333_333, 2_333_333_334)


def test_no_loss_is_bounded_by_one_interval() -> None:
    assert bound_by_count(0, periods=0, interval_ns=find_interval(3)) == Bounds(0, 333_333_334)


def test_the_wider_interval_speaks_on_each_side() -> None:
    assert Bounds(5, 20).widened_by(Bounds(7, 30)) == Bounds(5, 30)
    assert Bounds(7, 30).widened_by(Bounds(5, 20)) == Bounds(5, 30)


def test_a_loss_period_is_bounded_by_the_frames_in_and_around_it() -> None:
    # Frames 2 and 3 are lost; the sender paused 30 ms before frame 4.
    transmission = sent_at(0, 1_000_000, 2_100_000, 3_000_000, 33_000_000, 34_000_000)
    bounds = bound_by_transmit_times(runs_of(2, 3), transmission, interval_ns=MS)
    assert bounds.started_ns.tolist() == [2_100_000]
    assert bounds.low_ns.tolist() == [900_000]
    assert bounds.high_ns.tolist() == [32_000_000]


def test_two_loss_periods_add_up() -> None:
    transmission = sent_at(0, 10, 20, 30, 40, 50, 60)
    bounds = bound_by_transmit_times(runs_of(1, 3, 4), transmission, interval_ns=Fraction(10))
    assert bounds.total() == Bounds(10, 50)


def test_an_open_loss_period_reaches_one_interval_beyond_the_trial() -> None:
    transmission = sent_at(100, 110, 120, 130)
    runs = runs_of(0, 3)
    bounds = bound_by_transmit_times(runs, transmission, interval_ns=Fraction(21, 2))
    assert bounds.low_ns.tolist() == [0, 0]
    assert bounds.high_ns.tolist() == [110 - 100 + 11, 130 - 120 + 11]


def test_all_lost_is_open_on_both_sides() -> None:
    bounds = bound_by_transmit_times(runs_of(0, 1, 2), sent_at(0, 10, 25), interval_ns=Fraction(10))
    assert bounds.total() == Bounds(25, 45)


def test_no_loss_period_lasts_no_time() -> None:
    runs = runs_of()
    for transmission in (sent_at(0, 10), sent_at()):
        bounds = bound_by_transmit_times(runs, transmission, interval_ns=Fraction(10))
        assert bounds.total() == Bounds(0, 0)


def test_an_outage_without_loss_fits_into_the_longest_pause() -> None:
    assert bound_no_loss(sent_at(0, 10, 45, 50), interval_ns=Fraction(10)) == Bounds(0, 35)
    assert bound_no_loss(sent_at(0, 9, 18), interval_ns=Fraction(21, 2)) == Bounds(0, 11)
    assert bound_no_loss(sent_at(7), interval_ns=Fraction(10)) == Bounds(0, 10)


def test_loss_periods_are_listed_with_their_times() -> None:
    transmission = sent_at(0, 10, 20, 30, 40)
    runs = runs_of(1, 3)
    bounds = bound_by_transmit_times(runs, transmission, interval_ns=Fraction(10))
    assert list_loss_periods(runs, bounds) == (
        LossPeriod(first_lost=1, lost_frames=1, started_ns=10, low_ns=0, high_ns=20),
        LossPeriod(first_lost=3, lost_frames=1, started_ns=30, low_ns=0, high_ns=20),
    )
