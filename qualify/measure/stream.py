"""From the capture of one stream to its figures: loss, order, outage with bounds, delay."""

from math import ceil

import numpy as np

from qualify.errors import MeasurementError
from qualify.measure.capture import Capture, Doubt, DoubtKind
from qualify.measure.destinations import measure_destinations
from qualify.measure.figures import StreamFigures
from qualify.measure.gaps import FIRST, RECEIVED_AFTER, RECEIVED_BEFORE
from qualify.measure.outage import (
    bound_by_count,
    bound_by_transmit_times,
    bound_no_loss,
    estimate_outage,
    find_interval,
    list_loss_periods,
)
from qualify.measure.sequence import check_conservation, count_lost, find_loss_periods
from qualify.units import NS_PER_S, format_count, format_ms


def measure_stream(capture: Capture) -> StreamFigures:
    """Measure one stream over the whole trial.

    Raises:
        MeasurementError: the capture contradicts itself.
    """
    check_capture(capture)
    transmission, arrivals = capture.transmission, capture.arrivals
    sent = transmission.sent_frames
    runs = find_loss_periods(arrivals, sent_frames=sent)
    lost = count_lost(arrivals, runs)
    check_conservation(sent=sent, distinct=arrivals.received, lost=lost)
    interval_ns = find_interval(capture.rate_pps)
    by_time = bound_by_transmit_times(runs, transmission, interval_ns=interval_ns)
    bounds = time = bound_no_loss(transmission, interval_ns=interval_ns)
    if lost:
        periods = runs.first.size + arrivals.forgotten_gaps
        time = by_time.total()
        bounds = bound_by_count(lost, periods=periods, interval_ns=interval_ns).widened_by(time)
    return StreamFigures(
        stream=capture.stream,
        offered_pps=_offered_pps(capture),
        sent=sent,
        received=arrivals.received,
        lost=lost,
        duplicate=arrivals.duplicate,
        reordered=arrivals.reordered,
        loss_periods=list_loss_periods(runs, by_time),
        outage_ns=estimate_outage(lost, interval_ns=interval_ns),
        outage_low_ns=bounds.low_ns,
        outage_high_ns=bounds.high_ns,
        longest_ns=estimate_outage(int(runs.frames.max(initial=0)), interval_ns=interval_ns),
        receive_gap_ns=_receive_gap_ns(capture),
        max_delay_ns=arrivals.max_delay_ns,
        tester_dropped=capture.tester_dropped,
        longest_stall_ns=_longest_stall_ns(capture),
        destinations=measure_destinations(capture, runs),
        # without the periods that were forgotten the transmit times bound nothing
        time_low_ns=None if arrivals.forgotten_gaps else time.low_ns,
        time_high_ns=None if arrivals.forgotten_gaps else time.high_ns,
        undecidable=arrivals.undecidable,
        doubts=_list_doubts(capture),
    )


def check_capture(capture: Capture) -> None:
    """Check that the times of a capture fit together.

    Raises:
        MeasurementError: the sender's clock went back.
    """
    reversal = capture.transmission.find_reversal()
    if reversal is not None:
        number, back_ns = reversal
        raise MeasurementError(
            f"the sender's clock went back by {format_ms(back_ns)} "
            f"before frame {number} of stream {capture.stream}",
            fix="keep the time service from stepping the clock during a run, and run again",
        )


def _offered_pps(capture: Capture) -> float | None:
    """Offered load (RFC 2285 §3.5.2); ``None`` when no time passed between first and last frame."""
    started_ns, ended_ns = capture.transmission.started_ns, capture.transmission.ended_ns
    if started_ns is None or ended_ns is None or started_ns == ended_ns:
        return None
    return (capture.transmission.sent_frames - 1) * NS_PER_S / (ended_ns - started_ns)


def _receive_gap_ns(capture: Capture) -> int | None:
    """Longest time between the arrivals on both sides of a loss period.

    An open loss period has an arrival on one side only, so it has no such time.

    Source:
        RFC 6201 §1.3, timestamp method: on an even stream one interval more than lost ÷ rate.
    """
    gaps = capture.arrivals.gaps
    closed = gaps[gaps[:, FIRST] > 0]
    if not closed.size:
        return None
    return int(np.abs(closed[:, RECEIVED_AFTER] - closed[:, RECEIVED_BEFORE]).max())


def _longest_stall_ns(capture: Capture) -> int | None:
    """The longer of what the backend says and what the transmit times show beyond one interval."""
    pause_ns = capture.transmission.longest_pause_ns
    if pause_ns is None:
        return capture.longest_stall_ns
    late_ns = max(0, pause_ns - ceil(find_interval(capture.rate_pps)))
    return max(late_ns, capture.longest_stall_ns or 0)


def _list_doubts(capture: Capture) -> tuple[Doubt, ...]:
    """Add to what the backend doubts what the numbers and the transmit times show themselves."""
    doubts = list(capture.doubts)
    told = {doubt.kind for doubt in doubts}
    arrivals, stall_ns = capture.arrivals, _longest_stall_ns(capture)
    interval_ns = ceil(find_interval(capture.rate_pps))
    if stall_ns is not None and stall_ns > interval_ns and DoubtKind.STALL not in told:
        words = (
            f"the sender stalled for {format_ms(stall_ns)}, "
            "longer than the time between two of its frames"
        )
        doubts.append(Doubt(DoubtKind.STALL, None, stall_ns, words))
    if arrivals.forgotten_gaps and DoubtKind.UNDECIDABLE not in told:
        words = (
            f"there were {format_count(arrivals.forgotten_gaps)} more loss periods than anybody "
            "can remember"
        )
        doubts.append(Doubt(DoubtKind.UNDECIDABLE, arrivals.undecidable, None, words))
    return tuple(doubts)
