"""From the lost numbers of a stream to the loss and outage of every destination by itself."""

import numpy as np
from numpy.typing import NDArray

from qualify.measure.capture import Capture
from qualify.measure.figures import DestinationLoss
from qualify.measure.outage import (
    Bounds,
    bound_by_count,
    bound_by_transmit_times,
    find_interval,
)
from qualify.measure.sequence import find_destination_periods


def measure_destinations(capture: Capture, lost: NDArray[np.int64]) -> tuple[DestinationLoss, ...]:
    """Measure every destination that lost a frame, worst first.

    Loss seen by one route in a thousand must not drown in an average over all of them. A
    destination is visited once a round, so its bounds are as wide as a round is long.

    Args:
        capture: the stream.
        lost: its lost numbers, ascending.

    Source:
        RFC 6412 §3.5.3, route-specific loss-derived method; RFC 6413 §6.3.3 for the accuracy.
    """
    if not lost.size:
        return ()
    runs = find_destination_periods(lost, destinations=capture.destinations)
    interval_ns = find_interval(capture.rate_pps, destinations=capture.destinations)
    by_time = bound_by_transmit_times(runs, capture.sent_ns, interval_ns=interval_ns)
    destination, first_at, periods = np.unique(
        runs.first % capture.destinations, return_index=True, return_counts=True
    )
    columns = [destination, periods] + [
        np.add.reduceat(each, first_at) for each in (runs.frames, by_time.low_ns, by_time.high_ns)
    ]
    losses = []
    for number, count, frames, low, high in zip(*(c.tolist() for c in columns), strict=True):
        by_count = bound_by_count(frames, periods=count, interval_ns=interval_ns)
        bounds = by_count.widened_by(Bounds(low, high))
        sent = -(-(capture.sent_ns.size - number) // capture.destinations)
        losses.append(DestinationLoss(number, sent, frames, bounds.low_ns, bounds.high_ns))
    return tuple(sorted(losses, key=lambda loss: (-loss.outage_high_ns, -loss.lost)))
