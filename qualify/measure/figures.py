"""The figures of one stream: loss, order and outage, with bounds."""

from dataclasses import dataclass
from enum import StrEnum

from qualify.measure.capture import Doubt
from qualify.measure.totals import Totals


class OutageMethod(StrEnum):
    """Which figure of an outage speaks when they disagree."""

    LOST_BY_RATE = "lost-by-rate"
    TRANSMIT_TIMES = "transmit-times"


@dataclass(frozen=True, slots=True)
class LossPeriod:
    """A run of consecutive sequence numbers that never arrived (RFC 3357).

    ``low_ns`` and ``high_ns`` bound the outage that caused it, from the real transmit times of
    the frames inside and around it; ``started_ns`` is when the first lost frame left. A period that
    holds the first or the last frame of the stream is open: its upper bound ends one interval
    outside of the trial, and nobody can vouch for more.
    """

    first_lost: int
    lost_frames: int
    started_ns: int
    low_ns: int
    high_ns: int


@dataclass(frozen=True, slots=True)
class DestinationLoss:
    """Loss of one destination (RFC 6412 route-specific method); the bounds are exclusive."""

    destination: int
    sent: int
    lost: int
    outage_low_ns: int
    outage_high_ns: int


@dataclass(frozen=True, slots=True)
class StreamFigures:
    """What one stream says about the device.

    ``received`` counts different frames, so that sent = received + lost; ``duplicate`` counts the
    further copies, ``reordered`` the first copies that came after a higher number (RFC 4737).
    ``outage_ns`` is lost ÷ rate, rounded up; the true outage lies between ``outage_low_ns`` and
    ``outage_high_ns`` (both exclusive; with zero loss: below ``outage_high_ns``). ``longest_ns``
    is the longest loss period ÷ rate, ``receive_gap_ns`` the longest time between two arrivals
    that has a loss period inside (``None``: no loss, or no arrival on one side of it).
    ``longest_stall_ns`` is the longest time by which a frame left late. ``destinations`` lists
    those with loss, worst first.

    ``time_low_ns`` and ``time_high_ns`` bound the outage by the real transmit times alone. Lost ÷
    rate speaks as long as it lies between them; a sender that stalled and caught up puts it
    outside, and then the transmit times speak (``outage_method``).

    ``undecidable`` counts frames that came so late that nobody can tell whether they were lost
    before: up to that many of ``lost`` may have arrived. ``doubts`` is what the tester did.

    ``totals`` is set where only totals are known: then loss periods and destinations are not
    listed, and what the totals do not tell is ``None``. With an unknown ``duplicate`` every further
    copy may hide a lost frame, and ``lost`` is the least that was lost.
    """

    stream: int
    offered_pps: float | None
    sent: int
    received: int
    lost: int
    duplicate: int | None
    reordered: int | None
    loss_periods: tuple[LossPeriod, ...]
    outage_ns: int
    outage_low_ns: int
    outage_high_ns: int
    longest_ns: int | None
    receive_gap_ns: int | None
    max_delay_ns: int | None
    tester_dropped: int | None
    longest_stall_ns: int | None
    destinations: tuple[DestinationLoss, ...]
    time_low_ns: int | None = None
    time_high_ns: int | None = None
    undecidable: int = 0
    doubts: tuple[Doubt, ...] = ()
    totals: Totals | None = None

    @property
    def outage_method(self) -> OutageMethod:
        """Which figure of the outage speaks: lost ÷ rate, unless the transmit times rule it out."""
        if self.time_low_ns is None or self.time_high_ns is None or not self.lost:
            return OutageMethod.LOST_BY_RATE
        if self.time_low_ns <= self.outage_ns <= self.time_high_ns:
            return OutageMethod.LOST_BY_RATE
        return OutageMethod.TRANSMIT_TIMES

    @property
    def loss_period_count(self) -> int | None:
        """How many loss periods there were; ``None`` when nobody knows."""
        if self.totals is None:
            return len(self.loss_periods)
        nothing_lost = self.lost == 0 and self.duplicate is not None
        return 0 if nothing_lost else self.totals.loss_periods
