"""Which frames came twice or were overtaken, so that early ones can be told from later ones."""

import numpy as np
from numpy.typing import NDArray

from qualify.measure.gaps import Column

# Duplicates and reordered frames whose numbers are kept, so that those that left before the
# upgrade can be told from those after it. All of them are counted.
MOST_NOTED = 10_000


class LowestNumbers:
    """The lowest of the numbers that it is told, a bounded many."""

    def __init__(self) -> None:
        self._kept: list[Column] = []
        self._size = 0
        self._below = np.iinfo(np.int64).max

    def wants(self, number: int) -> bool:
        """Tell whether this number would be kept."""
        return number < self._below

    def note(self, numbers: Column) -> None:
        """Keep them, as far as they are among the lowest."""
        wanted = numbers[numbers < self._below]
        if wanted.size:
            self._kept.append(wanted)
            self._size += wanted.size
        if self._size > 2 * MOST_NOTED:
            lowest = self.lowest()
            self._kept, self._size, self._below = [lowest], lowest.size, int(lowest[-1])

    def lowest(self) -> Column:
        """Return what was kept, ascending."""
        together = np.concatenate((np.empty(0, dtype=np.int64), *self._kept))
        return np.sort(together)[:MOST_NOTED]


def find_overtaking(numbers: Column, order: NDArray[np.intp], after: Column) -> Column:
    """Find for each reordered frame the lowest number that had overtaken it.

    Args:
        numbers: numbers of reordered frames, ascending.
        order: their places in the order of arrival.
        after: the number of the arrival that ended the gap of each.
    """
    overtaking = after.tolist()
    places = order.tolist()
    higher: list[int] = []
    for at in range(len(places) - 1, -1, -1):
        while higher and places[higher[-1]] > places[at]:
            higher.pop()
        if higher:
            overtaking[at] = min(overtaking[at], int(numbers[higher[-1]]))
        higher.append(at)
    return np.array(overtaking, dtype=np.int64)
