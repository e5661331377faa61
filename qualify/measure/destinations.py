"""From the lost numbers of a stream to the loss and outage of every destination by itself."""

import numpy as np

from qualify.measure.capture import Capture
from qualify.measure.figures import DestinationLoss
from qualify.measure.outage import (
    Bounds,
    bound_by_count,
    bound_by_transmit_times,
    find_interval,
)
from qualify.measure.sequence import LossRuns, find_destination_periods


def measure_destinations(capture: Capture, periods: LossRuns) -> tuple[DestinationLoss, ...]:
    """Measure every destination that lost a frame, worst first.

    Loss seen by one route in a thousand must not drown in an average over all of them. A
    destination is visited once a round, so its bounds are as wide as a round is long.

    Args:
        capture: the stream.
        periods: its loss periods, lowest number first.

    Source:
        RFC 6412 §3.5.3, route-specific loss-derived method; RFC 6413 §6.3.3 for the accuracy.
    """
    if not periods.first.size:
        return ()
    runs = find_destination_periods(periods, destinations=capture.destinations)
    interval_ns = find_interval(capture.rate_pps, destinations=capture.destinations)
    by_time = bound_by_transmit_times(runs, capture.transmission, interval_ns=interval_ns)
    destination, first_at, counts = np.unique(
        runs.first % capture.destinations, return_index=True, return_counts=True
    )
    columns = [destination, counts] + [
        np.add.reduceat(each, first_at) for each in (runs.frames, by_time.low_ns, by_time.high_ns)
    ]
    losses = []
    for number, count, frames, low, high in zip(*(c.tolist() for c in columns), strict=True):
        by_count = bound_by_count(frames, periods=count, interval_ns=interval_ns)
        bounds = by_count.widened_by(Bounds(low, high))
        sent = -(-(capture.transmission.sent_frames - number) // capture.destinations)
        losses.append(DestinationLoss(number, sent, frames, bounds.low_ns, bounds.high_ns))
    return tuple(sorted(losses, key=lambda loss: (-loss.outage_high_ns, -loss.lost)))
