"""The figures of one stream: loss, order and outage, with bounds."""

from dataclasses import dataclass


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
    """

    stream: int
    offered_pps: float | None
    sent: int
    received: int
    lost: int
    duplicate: int
    reordered: int
    loss_periods: tuple[LossPeriod, ...]
    outage_ns: int
    outage_low_ns: int
    outage_high_ns: int
    longest_ns: int
    receive_gap_ns: int | None
    max_delay_ns: int | None
    tester_dropped: int | None
    longest_stall_ns: int | None
    destinations: tuple[DestinationLoss, ...]
