"""From a capture to what went wrong before the upgrade: loss, repetition or disorder."""

from dataclasses import dataclass

import numpy as np

from qualify.measure.capture import Capture
from qualify.measure.sequence import find_arrivals, find_lost


@dataclass(frozen=True, slots=True)
class EarlyImpairment:
    """How the frames fared that one stream sent before the upgrade was activated."""

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
    sent = capture.sent_ns.size
    if until_ns is not None:
        sent = int(np.searchsorted(capture.sent_ns, until_ns))
    received = capture.received[capture.received < sent]
    arrivals = find_arrivals(received)
    return EarlyImpairment(
        sent=sent,
        lost=find_lost(received, sent_frames=sent).size,
        duplicate=arrivals.duplicate,
        reordered=arrivals.reordered,
    )
