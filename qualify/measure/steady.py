"""From a capture to what went wrong before the upgrade: loss, repetition or disorder."""

from dataclasses import dataclass

import numpy as np

from qualify.measure.capture import Capture
from qualify.measure.sequence import find_loss_periods


@dataclass(frozen=True, slots=True)
class EarlyImpairment:
    """How the frames fared that one stream sent before the upgrade was activated.

    Of very many duplicates or reordered frames only the first 10 000 of each are counted.
    """

    sent: int
    lost: int
    duplicate: int
    reordered: int

    @property
    def clean(self) -> bool:
        """Tell whether every frame arrived once and in order."""
        return self.lost + self.duplicate + self.reordered == 0


def loss_before(capture: Capture, *, until_ns: int | None) -> EarlyImpairment:
    """Count what happened to the frames that left before a moment, whenever they arrived.

    Args:
        capture: a capture that ``measure_stream`` accepts.
        until_ns: when the upgrade was activated; ``None`` for never: then all frames count.

    Source:
        RFC 6201 §4: forwarding is verified before the event; RFC 6412 §3.8.1: impaired packet.
    """
    transmission, arrivals = capture.transmission, capture.arrivals
    sent = transmission.sent_frames
    if until_ns is not None:
        sent = transmission.frames_before(until_ns)
    runs = find_loss_periods(arrivals, sent_frames=transmission.sent_frames)
    lost = int(np.clip(sent - runs.first, 0, runs.frames).sum())
    forgotten = max(0, min(arrivals.forgotten_frames, sent - arrivals.forgotten_from))
    return EarlyImpairment(
        sent=sent,
        lost=lost + forgotten,
        duplicate=int(np.searchsorted(arrivals.duplicate_numbers, sent)),
        reordered=int(np.searchsorted(arrivals.overtaking_numbers, sent)),
    )
