"""All figures of one stream, and the promise that the truth lies between its bounds."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.errors import MeasurementError
from qualify.measure.arrivals import ArrivalAnalyser
from qualify.measure.capture import Doubt, DoubtKind, Transmission
from qualify.measure.figures import LossPeriod, OutageMethod
from qualify.measure.kept_frames import capture_frames
from qualify.measure.steady import loss_before
from qualify.measure.stream import measure_stream
from tests.measure.captures import START_NS, even_capture, even_frames, numbers, timed_capture


def test_the_figures_of_one_outage() -> None:
    figures = measure_stream(even_capture(sent=30_000, rate_pps=10_000, lost=range(12_004, 12_487)))
    assert (figures.stream, figures.sent, figures.received, figures.lost) == (
        1,
        30_000,
        29_517,
        483,
    )
    assert (figures.duplicate, figures.reordered) == (0, 0)
    assert figures.loss_periods == (
        LossPeriod(12_004, 483, START_NS + 1_200_400_000, 48_200_000, 48_400_000),
    )
    assert figures.outage_ns == figures.longest_ns == 48_300_000
    assert (figures.outage_low_ns, figures.outage_high_ns) == (48_200_000, 48_400_000)
    assert figures.receive_gap_ns == 48_400_000
    assert figures.max_delay_ns == 40_000
    assert figures.offered_pps == 10_000.0
    assert (figures.tester_dropped, figures.longest_stall_ns) == (0, 0)


def test_no_loss_is_below_one_interval_and_has_no_gap() -> None:
    figures = measure_stream(even_capture(sent=1_000, rate_pps=1_000))
    assert (figures.outage_ns, figures.outage_low_ns, figures.outage_high_ns) == (0, 0, 1_000_000)
    assert figures.longest_ns == 0
    assert figures.receive_gap_ns is None
    assert figures.loss_periods == ()
    assert figures.destinations == ()


def test_a_pause_of_the_sender_widens_no_loss() -> None:
    # 1 frame per ms intended, but 60 ms between frames 1 and 2.
    figures = measure_stream(
        timed_capture(sent_at=[0, 1_000_000, 61_000_000, 62_000_000], received=[0, 1, 2, 3])
    )
    assert figures.outage_high_ns == 60_000_000
    assert figures.longest_stall_ns == 59_000_000


def test_a_burst_that_is_lost_makes_no_long_outage() -> None:
    # After a pause of 30 ms the sender catches up with 20 frames within 190 µs; all are lost.
    burst = [31_000_000 + 10_000 * number for number in range(20)]
    figures = measure_stream(
        timed_capture(sent_at=[0, 1_000_000, *burst, 32_000_000], received=[0, 1, 22])
    )
    assert figures.outage_ns == 20_000_000
    assert figures.outage_low_ns == 190_000
    assert figures.outage_high_ns == 31_000_000


def test_a_slow_sender_hides_nothing() -> None:
    # 1 frame per ms intended, 1 frame per 3 ms sent: two lost frames are up to 9 ms.
    figures = measure_stream(
        timed_capture(sent_at=[0, 3_000_000, 6_000_000, 9_000_000, 12_000_000], received=[0, 3, 4])
    )
    assert figures.outage_ns == 2_000_000
    assert (figures.outage_low_ns, figures.outage_high_ns) == (1_000_000, 9_000_000)
    assert figures.offered_pps == pytest.approx(333.333, abs=0.001)


def test_the_gap_is_between_the_first_copies_around_the_loss() -> None:
    # Frame 2 is lost; a late second copy of frame 1 does not shorten the gap.
    figures = measure_stream(
        timed_capture(
            sent_at=[0, 1_000_000, 2_000_000, 3_000_000],
            received=[0, 1, 1, 3],
            received_at=[50_000, 1_050_000, 2_950_000, 3_060_000],
        )
    )
    assert figures.receive_gap_ns == 2_010_000
    assert figures.max_delay_ns == 60_000
    assert figures.duplicate == 1


def test_the_longest_of_several_gaps_speaks() -> None:
    figures = measure_stream(even_capture(sent=100, rate_pps=1_000, lost=[10, 50, 51, 52]))
    assert figures.receive_gap_ns == 4_000_000
    assert figures.longest_ns == 3_000_000


def test_loss_at_the_edge_has_no_gap() -> None:
    figures = measure_stream(even_capture(sent=100, rate_pps=1_000, lost=[0, 98, 99]))
    assert figures.receive_gap_ns is None
    assert (figures.outage_low_ns, figures.outage_high_ns) == (1_000_000, 5_000_000)


def test_a_gap_between_swapped_neighbors_is_positive() -> None:
    figures = measure_stream(
        timed_capture(
            sent_at=[0, 1_000_000, 2_000_000], received=[2, 0], received_at=[2_100_000, 2_200_000]
        )
    )
    assert figures.receive_gap_ns == 100_000
    assert figures.reordered == 1


def test_a_stream_that_lost_everything() -> None:
    figures = measure_stream(even_capture(sent=100, rate_pps=1_000, lost=range(100)))
    assert (figures.received, figures.lost, figures.outage_ns) == (0, 100, 100_000_000)
    assert (figures.outage_low_ns, figures.outage_high_ns) == (99_000_000, 101_000_000)
    assert figures.receive_gap_ns is None
    assert figures.max_delay_ns is None


def test_nothing_sent_gives_no_rate_and_no_delay() -> None:
    capture = replace(even_capture(sent=0, rate_pps=1_000), longest_stall_ns=None)
    figures = measure_stream(capture)
    assert (figures.sent, figures.received, figures.lost) == (0, 0, 0)
    assert figures.offered_pps is None
    assert figures.max_delay_ns is None
    assert figures.longest_stall_ns is None


def test_one_frame_has_no_rate() -> None:
    figures = measure_stream(even_capture(sent=1, rate_pps=1_000))
    assert figures.offered_pps is None
    assert figures.longest_stall_ns == 0


def test_what_the_backend_says_about_stalls_counts_when_it_is_longer() -> None:
    capture = timed_capture(
        sent_at=[0, 1_000_000, 4_000_000], received=[0, 1, 2], longest_stall_ns=2_500_000
    )
    assert measure_stream(capture).longest_stall_ns == 2_500_000
    assert measure_stream(replace(capture, longest_stall_ns=1)).longest_stall_ns == 2_000_000


def test_stamps_that_run_backwards_through_the_device_give_no_delay() -> None:
    figures = measure_stream(
        timed_capture(sent_at=[0, 1_000_000], received=[0, 1], received_at=[-5, 999_990])
    )
    assert figures.max_delay_ns is None


def test_drops_that_nobody_counted_stay_unknown() -> None:
    assert measure_stream(even_capture(sent=10, tester_dropped=None)).tester_dropped is None


def test_arrivals_without_a_time_are_refused() -> None:
    frames = even_frames(sent=10)
    with pytest.raises(
        MeasurementError, match=r"^stream 1 has 10 arrivals, but 9 arrival times\n  fix: mend"
    ):
        capture_frames(replace(frames, received_ns=frames.received_ns[:9]))


def test_a_clock_that_was_set_back_is_refused() -> None:
    with pytest.raises(
        MeasurementError,
        match=r"^the sender's clock went back by 5.0 ms before frame 2 of stream 1\n  fix: keep",
    ):
        measure_stream(timed_capture(sent_at=[0, 6_000_000, 1_000_000, 2_000_000], received=[0]))


def test_ten_million_frames_can_be_measured() -> None:
    sent_ns = np.arange(10_000_000, dtype=np.int64) * 5_000
    received = np.concatenate((np.arange(4_000_000), np.arange(4_010_000, 10_000_000)))
    frames = replace(
        even_frames(sent=1),
        rate_pps=200_000,
        sent_ns=sent_ns,
        received=received,
        received_ns=sent_ns[received] + 40_000,
    )
    figures = measure_stream(capture_frames(frames))
    assert (figures.lost, figures.outage_ns) == (10_000, 50_000_000)


# A sender that means to send a frame every 1000 ns, with jitter, bursts and stalls, and a device
# that forwards nothing from one moment to another.
_GAPS = st.lists(st.sampled_from([0, 1, 700, 999, 1_000, 1_000, 1_001, 1_800, 9_000]), min_size=3)


@given(_GAPS, st.data())
def test_the_true_outage_lies_between_the_bounds(gaps: list[int], data: st.DataObject) -> None:
    sent_at = np.cumsum(gaps)
    start = data.draw(st.integers(int(sent_at[0]) - 500, int(sent_at[-1])))
    outage = data.draw(st.integers(1, 20_000))
    arrived = np.flatnonzero((sent_at < start) | (sent_at >= start + outage))
    figures = measure_stream(
        timed_capture(sent_at=sent_at.tolist(), received=arrived.tolist(), rate_pps=1_000_000)
    )
    within_trial = min(start + outage, int(sent_at[-1]) + 1_000) - start
    assert figures.outage_low_ns < within_trial < figures.outage_high_ns


def test_a_stall_longer_than_the_resolution_is_told() -> None:
    # One frame per ms intended; 2.2 ms pass between two of them: 1.2 ms late.
    capture = timed_capture(sent_at=[0, 1_000_000, 3_200_000], received=[0, 1, 2])
    assert measure_stream(capture).doubts == (
        Doubt(
            DoubtKind.STALL,
            None,
            1_200_000,
            "the sender stalled for 1.2 ms, longer than the time between two of its frames",
        ),
    )
    told = Doubt(DoubtKind.STALL, None, 1_200_000, "the sender was late once")
    assert measure_stream(replace(capture, doubts=(told,))).doubts == (told,)


def test_a_stall_within_the_resolution_is_not_told() -> None:
    capture = timed_capture(sent_at=[0, 1_000_000, 3_000_000], received=[0, 1, 2])
    assert measure_stream(capture).doubts == ()


def test_loss_periods_beyond_what_can_be_remembered_are_told_and_counted() -> None:
    analyser = ArrivalAnalyser(most_gaps=2)
    received = numbers(0, 2, 4, 6, 8, 1, 9)  # 1, 3, 5 and 7 are missing; 1 comes when forgotten
    for each in received:
        analyser.take(each[np.newaxis].astype(np.uint32), START_NS + numbers(0), START_NS + each)
        assert analyser.counts.last_received_ns is not None
    capture = replace(
        even_capture(sent=10, tester_dropped=0), arrivals=analyser.finish(), doubts=()
    )
    figures = measure_stream(capture)
    assert (figures.received, figures.lost, figures.undecidable) == (6, 4, 1)
    assert [period.first_lost for period in figures.loss_periods] == [5, 7]
    assert (figures.outage_low_ns, figures.outage_high_ns) == (0, 8_000_000)
    assert (figures.time_low_ns, figures.time_high_ns) == (None, None)
    assert figures.outage_method is OutageMethod.LOST_BY_RATE
    assert figures.doubts == (
        Doubt(
            DoubtKind.UNDECIDABLE,
            1,
            None,
            "there were 2 more loss periods than anybody can remember",
        ),
    )
    assert loss_before(capture, until_ns=START_NS + 4_000_000).lost == 2
    assert loss_before(capture, until_ns=START_NS + 1_000_000).lost == 0


def test_frames_that_left_in_one_batch_have_one_time() -> None:
    # 5 at 0, 5 at 1 ms, 5 at 2 ms; the second batch is lost.
    capture = even_capture(sent=15, rate_pps=5_000, lost=range(5, 10))
    batches = Transmission(15, first=numbers(0, 5, 10), at_ns=numbers(0, 1_000_000, 2_000_000))
    figures = measure_stream(replace(capture, transmission=batches))
    assert figures.loss_periods == (LossPeriod(5, 5, 1_000_000, 0, 2_000_000),)
    assert (figures.outage_ns, figures.time_low_ns, figures.time_high_ns) == (
        1_000_000,
        0,
        2_000_000,
    )
    assert figures.longest_stall_ns == 800_000
    assert figures.offered_pps == 7_000.0
