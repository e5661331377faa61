"""From loss periods to the time that a device forwarded nothing, with bounds.

There are two ways to bound an outage, and they can disagree:

- By counting: frames leave every 1/r, so n frames lost in k loss periods stand for more than
  (n - k)/r and less than (n + k)/r. This trusts that the sender kept its rate.
- By the real transmit times: a loss period lasted longer than from its first lost frame to its
  last, and shorter than from the frame before it to the frame after it. This trusts the stamps.

The stated interval is the wider of the two: the higher upper bound speaks, so that a sender that
paused hides nothing, and the lower lower bound speaks, so that a sender that caught up in a burst
makes no failure of a short outage. Everything is whole nanoseconds; upper bounds and estimates are
rounded up, lower bounds down.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from qualify.measure.figures import LossPeriod
from qualify.measure.sequence import LossRuns
from qualify.measure.transmission import Transmission
from qualify.units import NS_PER_S


@dataclass(frozen=True, slots=True)
class Bounds:
    """The true outage is longer than ``low_ns`` and shorter than ``high_ns``."""

    low_ns: int
    high_ns: int

    def widened_by(self, other: "Bounds") -> "Bounds":
        """Return the wider of the two, on each side by itself."""
        return Bounds(min(self.low_ns, other.low_ns), max(self.high_ns, other.high_ns))


@dataclass(frozen=True, slots=True)
class TransmitBounds:
    """Bounds of every loss period from real transmit times, each array of shape (periods,)."""

    started_ns: NDArray[np.int64]
    low_ns: NDArray[np.int64]
    high_ns: NDArray[np.int64]

    def total(self) -> Bounds:
        """Return the bounds of all periods together."""
        return Bounds(int(self.low_ns.sum()), int(self.high_ns.sum()))


def find_interval(rate_pps: int, *, destinations: int = 1) -> Fraction:
    """Return the time between two frames in nanoseconds: of a stream, or to one destination.

    Source:
        RFC 6413 §6.3.3: with N destinations the interval of one of them is N / offered load.
    """
    return Fraction(NS_PER_S * destinations, rate_pps)


def estimate_outage(lost_frames: int, *, interval_ns: Fraction) -> int:
    """Return lost ÷ rate in nanoseconds, rounded up; 0 for no loss.

    Source:
        RFC 6201 §1.3, frame-loss method.
    """
    return ceil(lost_frames * interval_ns)


def bound_by_count(lost_frames: int, *, periods: int, interval_ns: Fraction) -> Bounds:
    """Bound the outage by counting.

    With nothing lost an outage can still have passed between two frames: below one interval.

    Source:
        RFC 6413 §6.3.3 for one loss period; k periods have k beginnings and k ends.
    """
    return Bounds(
        low_ns=floor((lost_frames - periods) * interval_ns),
        high_ns=ceil((lost_frames + max(periods, 1)) * interval_ns),
    )


def bound_by_transmit_times(
    runs: LossRuns, transmission: Transmission, *, interval_ns: Fraction
) -> TransmitBounds:
    """Bound every loss period by the times at which the frames in and around it really left.

    A loss period at the very beginning or end of the sequence is open: no frame outside of it was
    ever sent, so nobody can vouch for how long the outage lasted beyond the trial. Its bound
    is extended by one interval and holds for the outage *within* the trial only; a verdict must
    not pass on it.

    Args:
        runs: the loss periods.
        transmission: when the frames of the stream left.
        interval_ns: time between two frames of the sequence.
    """
    step_ns = ceil(interval_ns)
    before, after = runs.first - runs.stride, runs.last + runs.stride
    highest = transmission.sent_frames - 1
    first_ns, last_ns = transmission.time_of(runs.first), transmission.time_of(runs.last)
    before_ns = transmission.time_of(np.maximum(before, 0))
    after_ns = transmission.time_of(np.minimum(after, highest))
    from_ns = np.where(before >= 0, before_ns, first_ns - step_ns)
    until_ns = np.where(after <= highest, after_ns, last_ns + step_ns)
    return TransmitBounds(
        started_ns=first_ns, low_ns=last_ns - first_ns, high_ns=until_ns - from_ns
    )


def bound_no_loss(transmission: Transmission, *, interval_ns: Fraction) -> Bounds:
    """Bound an outage that lost nothing: it fitted between two neighboring frames.

    Source:
        RFC 6201 §3 reports "no loss", not an outage of zero; RFC 2285 §3.5.2: frames that the
        sender did not send are not counted, so its longest pause is the bound.
    """
    pause_ns = transmission.longest_pause_ns or 0
    return bound_by_count(0, periods=0, interval_ns=interval_ns).widened_by(Bounds(0, pause_ns))


def list_loss_periods(runs: LossRuns, bounds: TransmitBounds) -> tuple[LossPeriod, ...]:
    """Return the loss periods of a stream one by one, lowest number first."""
    columns = (runs.first, runs.frames, bounds.started_ns, bounds.low_ns, bounds.high_ns)
    return tuple(LossPeriod(*row) for row in zip(*(c.tolist() for c in columns), strict=True))
