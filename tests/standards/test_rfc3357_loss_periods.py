"""RFC 3357, One-way Loss Pattern Sample Metrics: loss periods.

Sequences are typed from the RFC: 1 or x is a lost packet, 0 or r one that arrived. What is marked
"derived" was worked out by hand from the definition; everything else stands in the RFC.
"""

from qualify.measure.figures import StreamFigures
from qualify.measure.stream import measure_stream
from tests.measure.captures import even_capture


def figures_of(pattern: str) -> StreamFigures:
    """Measure a stream that lost the packets marked 1 or x."""
    lost = [number for number, mark in enumerate(pattern) if mark in "1x"]
    return measure_stream(even_capture(sent=len(pattern), lost=lost))


def test_o_lp_02_loss_periods_of_the_example() -> None:
    """Section 5.4.3: loss periods 0 1 0 0 2 0 3 0 4 4."""
    periods = figures_of("0100101011").loss_periods
    assert [(each.first_lost, each.lost_frames) for each in periods] == [
        (1, 1),
        (4, 1),
        (6, 1),
        (8, 2),
    ]


def test_o_lp_03_number_and_lengths_of_the_example() -> None:
    """Section 6.5: 4 loss periods in all, of lengths 1, 1, 1 and 2."""
    periods = figures_of("0100101011").loss_periods
    assert len(periods) == 4
    assert [each.lost_frames for each in periods] == [1, 1, 1, 2]


def test_o_lp_05_loss_periods_begin_where_the_rfc_says() -> None:
    """Section 4: r r r x r r x x x r x r r x x x has four loss periods."""
    periods = figures_of("rrrxrrxxxrxrrxxx").loss_periods
    assert [each.first_lost for each in periods] == [3, 6, 10, 13]


def test_o_lp_06_lengths_of_these_loss_periods() -> None:
    """Section 4, lengths derived: 1, 3, 1, 3."""
    periods = figures_of("rrrxrrxxxrxrrxxx").loss_periods
    assert [each.lost_frames for each in periods] == [1, 3, 1, 3]


def test_o_lp_07_losses_at_20_and_50_are_two_periods_30_apart() -> None:
    """Section 4: a loss distance of 30."""
    first, second = measure_stream(even_capture(sent=100, lost=[20, 50])).loss_periods
    assert second.first_lost - first.first_lost == 30


def test_o_lp_10_no_loss_has_no_period() -> None:
    """Derived: no loss, no loss period."""
    assert figures_of("0000").loss_periods == ()


def test_o_unc_10_one_arrival_between_two_losses_parts_them() -> None:
    """Section 4, definition of a loss period; derived."""
    assert len(figures_of("00101000").loss_periods) == 2
