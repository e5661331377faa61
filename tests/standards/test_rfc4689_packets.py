"""RFC 4689 section 3.3 and RFC 7680 section 2.5: out-of-order, duplicate and lost packets."""

from qualify.measure.stream import measure_stream
from tests.measure.captures import timed_capture

EVERY_MS = [0, 1_000_000, 2_000_000, 3_000_000, 4_000_000, 5_000_000]


def test_o_seq_03_an_out_of_order_packet_has_a_lower_number_than_one_before_it() -> None:
    """RFC 4689 section 3.3.4; with 0 1 3 2 4 5 packet 2 is out of order."""
    figures = measure_stream(timed_capture(sent_at=EVERY_MS, received=[0, 1, 3, 2, 4, 5]))
    assert (figures.reordered, figures.lost) == (1, 0)


def test_o_seq_03_a_packet_after_a_lost_one_is_not_out_of_order() -> None:
    """RFC 4689 section 3.3.3 and 3.3.4, derived: with 1 2 4 packet 4 is only out of sequence."""
    figures = measure_stream(timed_capture(sent_at=EVERY_MS, received=[0, 1, 2, 4, 5]))
    assert (figures.reordered, figures.lost) == (0, 1)


def test_o_seq_04_a_duplicate_has_the_number_of_an_earlier_packet() -> None:
    """RFC 4689 section 3.3.5."""
    figures = measure_stream(timed_capture(sent_at=EVERY_MS, received=[0, 1, 1, 2, 3, 4, 5, 1]))
    assert (figures.duplicate, figures.reordered, figures.lost) == (2, 0, 0)


def test_o_seq_16_a_duplicated_packet_counts_as_received() -> None:
    """RFC 7680 section 2.5: duplicated is not lost, and counts once."""
    figures = measure_stream(timed_capture(sent_at=EVERY_MS, received=[0, 1, 1, 3, 4, 5]))
    assert (figures.received, figures.lost, figures.duplicate) == (5, 1, 1)


def test_o_seq_19_a_late_packet_is_no_gap() -> None:
    """RFC 6673 section 5.4: do not declare loss at the first gap."""
    figures = measure_stream(timed_capture(sent_at=EVERY_MS, received=[0, 2, 3, 4, 5, 1]))
    assert (figures.lost, figures.loss_periods) == (0, ())


def test_o_loss_04_duplicates_do_not_make_up_for_loss() -> None:
    """Derived: 6 sent, 4 different received, 3 of them twice; never "more out than in"."""
    figures = measure_stream(timed_capture(sent_at=EVERY_MS, received=[0, 0, 1, 1, 4, 4, 5]))
    assert (figures.received, figures.lost, figures.duplicate) == (4, 2, 3)
