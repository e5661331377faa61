"""The numbers below the highest that are still missing, as runs between two arrivals.

The table is bounded: when there are more runs than it may hold, the lowest are forgotten, only
counted, and it says below which number it remembers nothing.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Column: TypeAlias = NDArray[np.int64]

# Columns of a table of gaps.
FIRST, FRAMES, SENT_BEFORE, SENT_AFTER, RECEIVED_BEFORE, RECEIVED_AFTER = range(6)
COLUMNS = 6
# Stands where no frame is: before the first arrival of a stream.
NO_TIME_NS = np.iinfo(np.int64).min
_FIRST_CAPACITY = 1_024
_ANY = np.iinfo(np.int64).min


class GapTable:
    """Runs of missing numbers in ascending order; each is shrunk or split by what comes late.

    Attributes:
        missing: frames missing in all runs, also in those that were forgotten.
        forgotten_gaps: runs that are no longer listed.
        forgotten_frames: frames that are missing in them.
        forgotten_from: the first number that is missing in them.
        forgotten_below: no run is known below this number any more.
    """

    def __init__(self, *, most_gaps: int) -> None:
        self._most_gaps = most_gaps
        self._columns = np.empty((COLUMNS, min(_FIRST_CAPACITY, most_gaps)), dtype=np.int64)
        self._used = 0
        self.missing = 0
        self.forgotten_gaps = 0
        self.forgotten_frames = 0
        self.forgotten_from = 0
        self.forgotten_below = _ANY

    def add(self, gaps: Column) -> None:
        """Add runs above all others, ascending.

        Args:
            gaps: one column of the table in each row, shape (6, runs).
        """
        self.missing += int(gaps[FRAMES].sum())
        self._replace_tail(self._used, gaps)

    def find(self, numbers: Column) -> Column:
        """Return for each number which run holds it, -1 for none; shape as that of ``numbers``."""
        if not self._used:
            return np.full(numbers.shape, -1, dtype=np.int64)
        first = self._columns[FIRST, : self._used]
        at = np.searchsorted(first, numbers, side="right") - 1
        ends = first[at] + self._columns[FRAMES, : self._used][at]
        return np.where(numbers < ends, at, -1)

    def after(self, at: Column) -> Column:
        """Return the number of the arrival that ends each of these runs."""
        ends: Column = self._columns[FIRST, at] + self._columns[FRAMES, at]
        return ends

    def fill(self, at: Column, numbers: Column, *, sent_ns: Column, received_ns: Column) -> None:
        """Take numbers that came late out of the runs that hold them.

        Args:
            at: the run of each number, as ``find`` says; at least one.
            numbers: different numbers, ascending.
            sent_ns: when each of them left.
            received_ns: when each of them arrived.
        """
        self.missing -= numbers.size
        lowest = int(at[0])
        tail = self._columns[:, lowest : self._used]
        below, above = _split(tail[:, at - lowest], numbers, sent_ns, received_ns)
        untouched = np.ones(tail.shape[1], dtype=np.bool_)
        untouched[at - lowest] = False
        pieces = np.concatenate((tail[:, untouched], below, above), axis=1)
        pieces = pieces[:, pieces[FRAMES] > 0]
        # Three ascending series one after the other: a stable sort only merges them.
        self._replace_tail(lowest, pieces[:, np.argsort(pieces[FIRST], kind="stable")])

    def rows(self) -> Column:
        """Return the runs that are remembered, ascending, shape (runs, 6)."""
        return self._columns[:, : self._used].T.copy()

    def _replace_tail(self, start: int, gaps: Column) -> None:
        excess = start + gaps.shape[1] - self._most_gaps
        if excess > 0:
            # Forgetting an eighth more than needed keeps the cost of it away from every frame.
            excess += self._most_gaps // 8
            gaps = np.concatenate((self._columns[:, :start], gaps), axis=1)
            self._forget(gaps[:, :excess])
            start, gaps = 0, gaps[:, excess:]
        self._used = start + gaps.shape[1]
        capacity = self._columns.shape[1]
        if self._used > capacity:
            columns = np.empty((COLUMNS, self._grown(capacity)), dtype=np.int64)
            columns[:, :start] = self._columns[:, :start]
            self._columns = columns
        self._columns[:, start : self._used] = gaps

    def _grown(self, capacity: int) -> int:
        return min(max(self._used, 2 * capacity), self._most_gaps)

    def _forget(self, gaps: Column) -> None:
        if not self.forgotten_gaps:
            self.forgotten_from = int(gaps[FIRST, 0])
        self.forgotten_gaps += gaps.shape[1]
        self.forgotten_frames += int(gaps[FRAMES].sum())
        self.forgotten_below = int(gaps[FIRST, -1] + gaps[FRAMES, -1])


def _split(
    gaps: Column, numbers: Column, sent_ns: Column, received_ns: Column
) -> tuple[Column, Column]:
    """Split the run of each number there; what is below each, and above the last in each run."""
    below = gaps.copy()
    ends = gaps[FIRST] + gaps[FRAMES]
    same = np.flatnonzero(gaps[FIRST, 1:] == gaps[FIRST, :-1])
    below[FIRST, same + 1] = numbers[same] + 1
    below[SENT_BEFORE, same + 1] = sent_ns[same]
    below[RECEIVED_BEFORE, same + 1] = received_ns[same]
    below[FRAMES] = numbers - below[FIRST]
    below[SENT_AFTER] = sent_ns
    below[RECEIVED_AFTER] = received_ns
    last = np.ones(numbers.shape, dtype=np.bool_)
    last[same] = False
    above = gaps[:, last]
    above[FIRST] = numbers[last] + 1
    above[FRAMES] = ends[last] - above[FIRST]
    above[SENT_BEFORE] = sent_ns[last]
    above[RECEIVED_BEFORE] = received_ns[last]
    return below, above
