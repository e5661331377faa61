"""From numbers as they arrive to runs of consecutive ones, and how much of each is late."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.measure.gaps import Column

# Numbers are 32 bits wide in a frame.
WIRE_NUMBERS = 1 << 32


@dataclass(frozen=True, slots=True)
class Runs:
    """Runs of consecutive numbers in order of arrival, each array of shape (runs,).

    Attributes:
        first: the first number of each.
        frames: how many frames each has.
        place: where its first frame stands among the arrivals.
        highest: the highest number that arrived before it.
        late: how many frames at its beginning are not above that.
        previous: the last number, unwrapped from that of the arrival before it.
    """

    first: Column
    frames: Column
    place: Column
    highest: Column
    late: Column
    previous: int

    def late_frames(self) -> tuple[Column, Column]:
        """Return the numbers that are late, and their places, in order of arrival."""
        runs = np.flatnonzero(self.late)
        late = self.late[runs]
        within = np.arange(late.sum()) - np.repeat(np.cumsum(late) - late, late)
        return (
            np.repeat(self.first[runs], late) + within,
            np.repeat(self.place[runs], late) + within,
        )


def find_runs(
    first: int, breaks: NDArray[np.intp], steps: NDArray[np.uint32], *, highest: int, n: int
) -> Runs:
    """Find runs of consecutive numbers.

    Args:
        first: the number of the first arrival.
        breaks: places of the arrivals after which a run ends.
        steps: by how much the next number is higher, modulo 2 ** 32; a jump of more than half of
            that is one back (RFC 4737 §6).
        highest: the highest number before all.
        n: how many frames arrived.
    """
    edges = np.concatenate(([0], breaks + 1, [n]))
    place, frames = edges[:-1], edges[1:] - edges[:-1]
    numbers = np.empty(place.size, dtype=np.int64)
    numbers[0] = first
    np.add(steps.view(np.int32), frames[:-1] - 1, out=numbers[1:])
    np.cumsum(numbers, out=numbers)
    previous = int(numbers[-1] + frames[-1] - 1)
    before = np.empty_like(numbers)
    before[0] = highest
    before[1:] = (numbers + frames)[:-1] - 1
    np.maximum.accumulate(before, out=before)
    late = np.minimum(np.maximum(before + 1 - numbers, 0), frames)
    return Runs(numbers, frames, place, before, late, previous)
