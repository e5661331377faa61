"""From the capture of one stream to its figures: loss, order, outage with bounds, delay."""

from math import ceil

import numpy as np
from numpy.typing import NDArray

from qualify.errors import MeasurementError
from qualify.measure.capture import Capture
from qualify.measure.destinations import measure_destinations
from qualify.measure.figures import StreamFigures
from qualify.measure.outage import (
    bound_by_count,
    bound_by_transmit_times,
    bound_no_loss,
    estimate_outage,
    find_interval,
    find_longest_pause,
    list_loss_periods,
)
from qualify.measure.sequence import (
    Arrivals,
    LossRuns,
    check_conservation,
    find_arrivals,
    find_loss_periods,
    find_lost,
)
from qualify.units import NS_PER_S, format_ms


def measure_stream(capture: Capture) -> StreamFigures:
    """Measure one stream over the whole trial.

    Raises:
        MeasurementError: the capture contradicts itself.
    """
    check_capture(capture)
    sent = capture.sent_ns.size
    lost = find_lost(capture.received, sent_frames=sent)
    arrivals = find_arrivals(capture.received)
    check_conservation(sent=sent, distinct=arrivals.distinct, lost=lost.size)
    runs = find_loss_periods(lost, stride=1)
    interval_ns = find_interval(capture.rate_pps)
    by_time = bound_by_transmit_times(runs, capture.sent_ns, interval_ns=interval_ns)
    bounds = bound_no_loss(capture.sent_ns, interval_ns=interval_ns)
    if lost.size:
        by_count = bound_by_count(lost.size, periods=runs.first.size, interval_ns=interval_ns)
        bounds = by_count.widened_by(by_time.total())
    return StreamFigures(
        stream=capture.stream,
        offered_pps=_offered_pps(capture.sent_ns),
        sent=sent,
        received=arrivals.distinct,
        lost=lost.size,
        duplicate=arrivals.duplicate,
        reordered=arrivals.reordered,
        loss_periods=list_loss_periods(runs, by_time),
        outage_ns=estimate_outage(lost.size, interval_ns=interval_ns),
        outage_low_ns=bounds.low_ns,
        outage_high_ns=bounds.high_ns,
        longest_ns=estimate_outage(int(runs.frames.max(initial=0)), interval_ns=interval_ns),
        receive_gap_ns=_receive_gap_ns(capture, arrivals, runs),
        max_delay_ns=_max_delay_ns(capture, arrivals),
        tester_dropped=capture.tester_dropped,
        longest_stall_ns=_longest_stall_ns(capture),
        destinations=measure_destinations(capture, lost),
    )


def check_capture(capture: Capture) -> None:
    """Check that the times of a capture fit together.

    Raises:
        MeasurementError: an arrival has no time, or the sender's clock went back.
    """
    if capture.received.shape != capture.received_ns.shape:
        raise MeasurementError(
            f"stream {capture.stream} has {capture.received.size} arrivals, "
            f"but {capture.received_ns.size} arrival times",
            fix="mend the traffic backend: every arrival needs its time",
        )
    steps_ns = np.diff(capture.sent_ns)
    if steps_ns.min(initial=0) < 0:
        number = int(steps_ns.argmin()) + 1
        raise MeasurementError(
            f"the sender's clock went back by {format_ms(-int(steps_ns.min()))} "
            f"before frame {number} of stream {capture.stream}",
            fix="keep the time service from stepping the clock during a run, and run again",
        )


def _offered_pps(sent_ns: NDArray[np.int64]) -> float | None:
    """Offered load (RFC 2285 §3.5.2); ``None`` when no time passed between first and last frame."""
    span_ns = int(sent_ns[-1] - sent_ns[0]) if sent_ns.size else 0
    return (sent_ns.size - 1) * NS_PER_S / span_ns if span_ns else None


def _receive_gap_ns(capture: Capture, arrivals: Arrivals, runs: LossRuns) -> int | None:
    """Longest time between the arrivals on both sides of a loss period.

    An open loss period has an arrival on one side only, so it has no such time.

    Source:
        RFC 6201 §1.3, timestamp method: on an even stream one interval more than lost ÷ rate.
    """
    sent = capture.sent_ns.size
    closed = (runs.first > 0) & (runs.last < sent - 1)
    if not closed.any():
        return None
    arrived_ns = np.zeros(sent, dtype=np.int64)
    arrived_ns[capture.received[arrivals.first_copy]] = capture.received_ns[arrivals.first_copy]
    before, after = runs.first[closed] - 1, runs.last[closed] + 1
    return int(np.abs(arrived_ns[after] - arrived_ns[before]).max())


def _max_delay_ns(capture: Capture, arrivals: Arrivals) -> int | None:
    """Largest forwarding delay of a first copy; ``None`` when the stamps cannot tell."""
    numbers = capture.received[arrivals.first_copy]
    delays_ns = capture.received_ns[arrivals.first_copy] - capture.sent_ns[numbers]
    largest_ns = int(delays_ns.max(initial=-1))
    return largest_ns if largest_ns >= 0 else None


def _longest_stall_ns(capture: Capture) -> int | None:
    """The longer of what the backend says and what the transmit times show beyond one interval."""
    pause_ns = find_longest_pause(capture.sent_ns)
    if pause_ns is None:
        return capture.longest_stall_ns
    late_ns = max(0, pause_ns - ceil(find_interval(capture.rate_pps)))
    return max(late_ns, capture.longest_stall_ns or 0)
