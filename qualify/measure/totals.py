"""What a generator counted for one stream when it tells no more than totals."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Totals:
    """What a generator counted for one stream; ``None`` for what it does not tell.

    Attributes:
        sent: frames that it sent.
        received: frames that arrived, further copies among them.
        lost: numbers that never arrived, for a generator that numbers its frames.
        duplicate: further copies of numbers that had arrived.
        reordered: frames that arrived after a higher number (RFC 4737).
        loss_periods: runs of consecutive lost numbers (RFC 3357).
        longest_stall_ns: longest time by which a frame left later than its rate asks for.
        running_ns: how long the bench wanted the stream to run, by the bench's own clock.
    """

    sent: int
    received: int
    lost: int | None
    duplicate: int | None
    reordered: int | None
    loss_periods: int | None
    longest_stall_ns: int | None
    running_ns: int
