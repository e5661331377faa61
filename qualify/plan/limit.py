"""What a traffic backend can do on this machine, as far as a plan must know it."""

from dataclasses import dataclass

from qualify.plan.capability import Capability


@dataclass(frozen=True, slots=True)
class Limit:
    """Frames per second over all streams of a trial; ``None``: no limit of its own.

    ``seen`` is what a self-check saw on this machine; ``None`` when nobody has looked.
    """

    sent_pps: int | None
    received_pps: int | None
    seen: Capability | None = None

    @property
    def most_pps(self) -> int | None:
        """The lower of the backend's own limits."""
        known = [pps for pps in (self.sent_pps, self.received_pps) if pps is not None]
        return min(known, default=None)
