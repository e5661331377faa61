"""Which arrival counts for which stream, and what the running counts make of it."""

from qualify.traffic.scapy_messages import ReceiveProgress
from qualify.traffic.scapy_receiver import ReceivedStream, Reception
from qualify.traffic.scapy_sockets import Arrival


def receive(*arrivals: tuple[int, int, int]) -> Reception:
    """Take arrivals (stream, number, port), a microsecond apart from 1000 ns on."""
    reception = Reception({3: ReceivedStream(port=0), 5: ReceivedStream(port=1)})
    for turn, (stream, number, port) in enumerate(arrivals, start=1):
        reception.take(Arrival(stream, number, 1_000 * turn, sniffed_on=port))
    return reception


def test_numbers_and_times_are_kept_in_order_of_arrival() -> None:
    reception = receive((3, 0, 0), (5, 0, 1), (3, 1, 0))
    assert reception.streams[3].numbers.tolist() == [0, 1]
    assert reception.streams[3].times_ns.tolist() == [1_000, 3_000]
    assert reception.progress() == ReceiveProgress((2, 1), (None, None), (3_000, 2_000))


def test_a_frame_at_another_port_or_of_no_stream_is_misdelivered() -> None:
    """RFC 2285 §3.8.3 (O-L2-02)."""
    reception = receive((3, 0, 1), (4, 0, 0), (3, 0, 0))
    assert reception.misdelivered == 2
    assert reception.progress().received == (1, 0)


def test_a_missing_number_impairs_when_the_next_one_arrives() -> None:
    assert receive((3, 0, 0), (3, 2, 0), (3, 3, 0)).progress().impaired_ns == (2_000, None)


def test_a_missing_first_number_impairs() -> None:
    assert receive((3, 1, 0)).progress().impaired_ns == (1_000, None)


def test_a_repeated_number_impairs() -> None:
    assert receive((3, 0, 0), (3, 0, 0), (3, 1, 0)).progress().impaired_ns == (2_000, None)


def test_a_late_number_impairs_and_does_not_turn_back_the_count() -> None:
    reception = receive((3, 0, 0), (3, 2, 0), (3, 1, 0), (3, 3, 0))
    assert reception.progress().impaired_ns == (3_000, None)


def test_a_stream_that_got_nothing_has_no_last_arrival() -> None:
    assert receive().progress() == ReceiveProgress((0, 0), (None, None), (None, None))
