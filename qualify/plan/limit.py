"""What a traffic backend can do on this machine, as far as a plan must know it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limit:
    """Frames per second over all streams of a trial; ``None``: no limit of its own."""

    sent_pps: int | None
    received_pps: int | None
