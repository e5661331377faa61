"""When the frames of one stream really left, kept by the batch."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# The log of a long run is mapped from a file; it is looked through in pieces of this many batches.
_PIECE = 1_000_000


@dataclass(frozen=True, slots=True)
class Transmission:
    """What was offered to the wire, and when.

    Attributes:
        sent_frames: how many frames left, numbered 0 to sent_frames - 1.
        first: the first number of each batch, ascending from 0, shape (batches,); a batch ends
            where the next one begins. May be mapped from a file.
        at_ns: when each batch left, shape (batches,), CLOCK_REALTIME.
    """

    sent_frames: int
    first: NDArray[np.int64]
    at_ns: NDArray[np.int64]

    def time_of(self, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return when frames of these numbers left, in the shape of ``numbers``."""
        batches = np.searchsorted(self.first, numbers, side="right") - 1
        times_ns: NDArray[np.int64] = np.asarray(self.at_ns[batches])
        return times_ns

    def frames_before(self, moment_ns: int) -> int:
        """Count the frames that left before a moment."""
        batch = int(np.searchsorted(self.at_ns, moment_ns, side="left"))
        return int(self.first[batch]) if batch < self.first.size else self.sent_frames

    @property
    def started_ns(self) -> int | None:
        """When the first frame left; ``None`` when none did."""
        return int(self.at_ns[0]) if self.sent_frames else None

    @property
    def ended_ns(self) -> int | None:
        """When the last frame left; ``None`` when none did."""
        return int(self.at_ns[-1]) if self.sent_frames else None

    @property
    def longest_pause_ns(self) -> int | None:
        """The longest time between two frames; ``None`` when fewer than two were sent."""
        if self.sent_frames <= 1:
            return None
        return max((int(steps.max()) for _, steps in self._steps()), default=0)

    def find_reversal(self) -> tuple[int, int] | None:
        """Find where the sender's clock went back the farthest.

        Returns:
            The number of the frame before which it did, and by how many nanoseconds; ``None``
            when it never did.
        """
        worst = (0, 0)
        for start, steps in self._steps():
            at = int(steps.argmin())
            if -int(steps[at]) > worst[1]:
                worst = (int(self.first[start + at + 1]), -int(steps[at]))
        return worst if worst[1] else None

    def _steps(self) -> Iterator[tuple[int, NDArray[np.int64]]]:
        """Give the times between neighboring batches in pieces, each with its place."""
        for start in range(0, self.at_ns.size - 1, _PIECE):
            yield start, np.diff(self.at_ns[start : start + _PIECE + 1])


def transmit_each(sent_ns: NDArray[np.int64]) -> Transmission:
    """Describe frames that left one by one, from the time of each, shape (sent,)."""
    return Transmission(sent_ns.size, np.arange(sent_ns.size, dtype=np.int64), sent_ns)
