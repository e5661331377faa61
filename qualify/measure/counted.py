"""From the totals that another generator counted for one stream to figures, with what they prove.

Totals say how many frames were lost, not which. So the number of loss periods is unknown: n lost
frames may be one long outage or n short ones, as far as the frames that arrived can part them.
"""

from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from qualify.errors import MeasurementError
from qualify.measure.arrivals import ArrivalAnalyser
from qualify.measure.capture import Capture
from qualify.measure.figures import StreamFigures
from qualify.measure.outage import estimate_outage, find_interval
from qualify.measure.stream import measure_stream
from qualify.measure.totals import Totals
from qualify.measure.transmission import transmit_each
from qualify.units import NS_PER_S


@dataclass(frozen=True, slots=True)
class _Loss:
    """Lost frames, at least and at most, and the further copies among those that arrived."""

    least: int
    most: int
    duplicate: int | None


def capture_totals(
    totals: Totals, *, stream: int, rate_pps: int, destinations: int, tester_dropped: int | None
) -> Capture:
    """Make the capture of a stream of which only totals are known; no frame in it has a time."""
    return Capture(
        stream=stream,
        rate_pps=rate_pps,
        destinations=destinations,
        transmission=transmit_each(np.zeros(0, dtype=np.int64)),
        arrivals=ArrivalAnalyser().finish(),
        tester_dropped=tester_dropped,
        longest_stall_ns=totals.longest_stall_ns,
        totals=totals,
    )


def measure_capture(capture: Capture) -> StreamFigures:
    """Measure a stream, from its frames or, where only totals are known, from those.

    Raises:
        MeasurementError: the capture contradicts itself.
    """
    if capture.totals is None:
        return measure_stream(capture)
    return measure_totals(
        capture.totals,
        stream=capture.stream,
        rate_pps=capture.rate_pps,
        tester_dropped=capture.tester_dropped,
    )


def measure_totals(
    totals: Totals, *, stream: int, rate_pps: int, tester_dropped: int | None
) -> StreamFigures:
    """Measure a stream of which only totals are known.

    With n lost frames in k loss periods the outage lies between (n - k) and (n + k) intervals,
    wider by the longest stall for each period. An unknown k is between 1 and n, and not above the
    frames that arrived and one more. Where nobody tells further copies apart, every copy can
    stand for a lost frame: then n is between sent - received and all that was sent. Where
    nobody tells how evenly the frames left, a loss may have taken no time at all.

    Raises:
        MeasurementError: the totals contradict each other.

    Source:
        RFC 6413 §6.3.3 for one loss period; RFC 4689 §3.3.5 for duplicates.
    """
    loss = _find_loss(totals)
    periods = _most_periods(totals, loss.least)
    interval_ns = find_interval(rate_pps)
    stall_ns = totals.longest_stall_ns or 0
    low_ns = floor((loss.least - periods) * interval_ns) - periods * stall_ns
    high_ns = ceil((loss.least + max(periods, 1)) * interval_ns) + max(periods, 1) * stall_ns
    if loss.most > loss.least:
        high_ns = ceil((totals.sent + 1) * interval_ns) + (totals.received + 1) * stall_ns
    whole = loss.least == loss.most
    longest = loss.least if whole and (totals.loss_periods == 1 or not loss.least) else None
    return StreamFigures(
        stream=stream,
        # Counted over the time that the bench asked for: the generator's own times are not known.
        offered_pps=totals.sent * NS_PER_S / totals.running_ns if totals.running_ns else None,
        sent=totals.sent,
        received=totals.sent - loss.least,
        lost=loss.least,
        duplicate=loss.duplicate,
        reordered=totals.reordered,
        loss_periods=(),
        outage_ns=estimate_outage(loss.least, interval_ns=interval_ns),
        outage_low_ns=0 if totals.longest_stall_ns is None else max(0, low_ns),
        outage_high_ns=high_ns,
        longest_ns=None if longest is None else estimate_outage(longest, interval_ns=interval_ns),
        receive_gap_ns=None,
        max_delay_ns=None,
        tester_dropped=tester_dropped,
        longest_stall_ns=totals.longest_stall_ns,
        destinations=(),
        totals=totals,
    )


def _find_loss(totals: Totals) -> _Loss:
    """Find the loss; a generator that tells it and the duplicates must agree with itself."""
    sent, received, lost, duplicate = totals.sent, totals.received, totals.lost, totals.duplicate
    if lost is None and duplicate is None:
        least = max(0, sent - received)
        return _Loss(least, max(least, sent - min(received, 1)), None)
    if lost is None:
        lost = sent - (received - (duplicate or 0))
    if duplicate is None:
        duplicate = received - (sent - lost)
    distinct = received - duplicate
    if min(lost, duplicate, distinct) < 0 or distinct + lost != sent:
        raise MeasurementError(
            f"the generator counted {sent} sent, {received} received, {lost} lost and "
            f"{duplicate} duplicate frames, which do not add up",
            fix="read all counts at the same time, after the traffic has come to rest",
        )
    return _Loss(lost, lost, duplicate)


def _most_periods(totals: Totals, lost: int) -> int:
    """The loss periods, or the most that there can be: an arrival lies between any two."""
    most = min(lost, totals.sent - lost + 1)
    known = totals.loss_periods
    if known is None:
        return most
    if not min(lost, 1) <= known <= most:
        raise MeasurementError(
            f"the generator counted {known} loss periods, but {lost} lost of {totals.sent} frames",
            fix="map the column loss_periods to the number of runs of lost frames, or leave it out",
        )
    return known
