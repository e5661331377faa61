"""From frames as they arrive to what arrived of a stream and which numbers are missing.

The analyser sees every frame once, in chunks, and keeps only runs of missing numbers: memory does
not grow with the frames, only with the loss, up to a bound. The work is O(n) and vectorised. How
a stream is cut into chunks changes nothing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.measure.gaps import COLUMNS, NO_TIME_NS, Column, GapTable

_WIRE_NUMBERS = 1 << 32
# Duplicates and reordered frames whose numbers are kept, so that those that left before the
# upgrade can be told from those after it. All of them are counted.
MOST_NOTED = 10_000


@dataclass(frozen=True, slots=True)
class ArrivalCounts:
    """Running counts of one stream.

    ``missing`` counts the numbers below the highest that have not arrived until now.
    ``impaired_ns`` is when a number was last seen to be missing, repeated or late;
    ``last_received_ns`` when anything arrived at all; both ``None`` for never.
    """

    received: int
    duplicate: int
    reordered: int
    undecidable: int
    missing: int
    impaired_ns: int | None
    last_received_ns: int | None


@dataclass(frozen=True, slots=True)
class Arrivals:
    """What arrived of one stream, by number; ``received`` + missing = ``next_expected``.

    Attributes:
        received: different numbers that arrived (RFC 7680 §2.5: a duplicate is not lost).
        duplicate: further copies (RFC 4689 §3.3.5).
        reordered: first copies that came after a higher number (RFC 4737 §3.3).
        undecidable: frames so late that nobody remembers whether their number was missing: copies
            or reordered, counted as neither. Their numbers still count as missing.
        next_expected: the highest number that arrived and one more; 0 when nothing arrived.
        gaps: runs of missing numbers below ``next_expected``, ascending, shape (gaps, 6): the first
            missing number, how many, when the frame before them and the one after them left, and
            when these two arrived. Before the first arrival both times are ``NO_TIME_NS``.
        forgotten_gaps: further runs, with lower numbers than all in ``gaps``.
        forgotten_frames: frames that are missing in those.
        duplicate_numbers: the number of each duplicate, ascending; of many the lowest 10 000.
        overtaking_numbers: the lowest number that had overtaken each reordered frame, ascending;
            of many the lowest 10 000.
        max_delay_ns: the largest forwarding delay of a first copy; ``None`` when nothing arrived
            or stamps run backwards through the device.
    """

    received: int
    duplicate: int
    reordered: int
    undecidable: int
    next_expected: int
    gaps: NDArray[np.int64]
    forgotten_gaps: int
    forgotten_frames: int
    duplicate_numbers: NDArray[np.int64]
    overtaking_numbers: NDArray[np.int64]
    max_delay_ns: int | None

    @property
    def missing(self) -> int:
        """Numbers below ``next_expected`` that did not arrive."""
        return self.next_expected - self.received


class ArrivalAnalyser:
    """Analyses one stream while it arrives.

    Source:
        RFC 4737 §3.3 and §3.6: a number below NextExp is late; only first copies are analysed.
    """

    def __init__(self, *, most_gaps: int = 1_000_000) -> None:
        self._gaps = GapTable(most_gaps=most_gaps)
        self._next = 0
        self._previous: int | None = None  # the last arrival's number; may be below 0, see _unwrap
        self._highest_sent_ns = self._highest_received_ns = NO_TIME_NS
        self._in_order = self._duplicate = self._reordered = self._undecidable = 0
        self._impaired_ns: int | None = None
        self._last_received_ns: int | None = None
        self._max_delay_ns = -1
        self._duplicates = _Noted()
        self._overtaking = _Noted()

    @property
    def counts(self) -> ArrivalCounts:
        """The counts until now."""
        return ArrivalCounts(
            received=self._in_order + self._reordered,
            duplicate=self._duplicate,
            reordered=self._reordered,
            undecidable=self._undecidable,
            missing=self._gaps.missing,
            impaired_ns=self._impaired_ns,
            last_received_ns=self._last_received_ns,
        )

    def take(
        self,
        sequence: NDArray[np.uint32],
        sent_ns: NDArray[np.int64],
        received_ns: NDArray[np.int64],
    ) -> None:
        """Analyse the next arrivals.

        Args:
            sequence: numbers as on the wire, in order of arrival, shape (arrived,).
            sent_ns: the transmit time in each frame, nanoseconds since the epoch.
            received_ns: when each of them arrived.
        """
        if not sequence.size:
            return
        self._last_received_ns = int(received_ns[-1])
        steps = sequence[1:] - sequence[:-1]
        first = self._unwrap(int(sequence[0]))
        if first == self._next and (steps == 1).all():
            self._take_next(first + sequence.size, sent_ns, received_ns)
            self._previous = self._next - 1
            return
        numbers = _add_up(first, steps)
        self._previous = int(numbers[-1])
        # A number below 0 was never sent: on the wire it is a very high one, and so it is told.
        numbers[numbers < 0] += _WIRE_NUMBERS
        ascending = numbers > self._highest_before(numbers)
        if ascending.all():
            positions = self._take_ascending(numbers, sent_ns, received_ns)
        else:
            late = np.flatnonzero(~ascending)
            kept = np.flatnonzero(ascending)
            jumps = self._take_ascending(numbers[kept], sent_ns[kept], received_ns[kept])
            self._take_late(numbers[late], sent_ns[late], received_ns[late])
            positions = np.append(kept[jumps], late)
        if positions.size:
            self._impaired_ns = int(received_ns[positions.max()])

    def finish(self) -> Arrivals:
        """Return what arrived until now; the analyser may go on."""
        return Arrivals(
            received=self._in_order + self._reordered,
            duplicate=self._duplicate,
            reordered=self._reordered,
            undecidable=self._undecidable,
            next_expected=self._next,
            gaps=self._gaps.rows(),
            forgotten_gaps=self._gaps.forgotten_gaps,
            forgotten_frames=self._gaps.forgotten_frames,
            duplicate_numbers=self._duplicates.lowest(),
            overtaking_numbers=self._overtaking.lowest(),
            max_delay_ns=self._max_delay_ns if self._max_delay_ns >= 0 else None,
        )

    def _unwrap(self, wire: int) -> int:
        """Return the number nearest to that of the arrival before which reads so on the wire.

        Source:
            RFC 4737 §6: a jump of more than half of the range is a rollover.
        """
        if self._previous is None:
            return wire
        half = _WIRE_NUMBERS // 2
        return self._previous + (wire - self._previous + half) % _WIRE_NUMBERS - half

    def _highest_before(self, numbers: Column) -> Column:
        """Return for each arrival the highest number that had arrived before it."""
        highest = np.empty_like(numbers)
        highest[0] = self._next - 1
        np.maximum.accumulate(numbers[:-1], out=highest[1:])
        np.maximum(highest, self._next - 1, out=highest)
        return highest

    def _take_next(self, following: int, sent_ns: Column, received_ns: Column) -> None:
        """Take frames that are exactly those expected."""
        self._in_order += sent_ns.size
        self._next = following
        self._note_delay(sent_ns, received_ns)
        self._highest_sent_ns = int(sent_ns[-1])
        self._highest_received_ns = int(received_ns[-1])

    def _take_ascending(
        self, numbers: Column, sent_ns: Column, received_ns: Column
    ) -> NDArray[np.intp]:
        """Take frames above all before them; return the positions of those after a gap."""
        if not numbers.size:
            return np.empty(0, dtype=np.intp)
        frames = np.diff(numbers, prepend=self._next - 1) - 1
        jumps = np.flatnonzero(frames)
        gaps = np.empty((COLUMNS, jumps.size), dtype=np.int64)
        gaps[0] = numbers[jumps] - frames[jumps]
        gaps[1] = frames[jumps]
        gaps[2], gaps[3] = _around(jumps, sent_ns, self._highest_sent_ns)
        gaps[4], gaps[5] = _around(jumps, received_ns, self._highest_received_ns)
        self._gaps.add(gaps)
        self._take_next(int(numbers[-1]) + 1, sent_ns, received_ns)
        return jumps

    def _take_late(self, numbers: Column, sent_ns: Column, received_ns: Column) -> None:
        """Take frames below the highest: reordered where their number is missing, else copies."""
        remembered = numbers >= self._gaps.forgotten_below
        self._undecidable += numbers.size - int(np.count_nonzero(remembered))
        at = np.flatnonzero(remembered)
        # Sorted by number, and those of one number in order of arrival.
        at = at[np.argsort(numbers[at], kind="stable")]
        numbers, order = numbers[at], at
        gap = self._gaps.find(numbers)
        fresh = gap >= 0
        fresh[1:] &= numbers[1:] != numbers[:-1]
        self._duplicate += int(np.count_nonzero(~fresh))
        self._duplicates.note(numbers[~fresh])
        if not fresh.any():
            return
        numbers, gap, order = numbers[fresh], gap[fresh], order[fresh]
        sent_ns, received_ns = sent_ns[order], received_ns[order]
        self._reordered += numbers.size
        if self._overtaking.wants(int(numbers[0])):
            self._overtaking.note(_find_overtaking(numbers, order, self._gaps.after(gap)))
        self._gaps.fill(gap, numbers, sent_ns=sent_ns, received_ns=received_ns)
        self._note_delay(sent_ns, received_ns)

    def _note_delay(self, sent_ns: Column, received_ns: Column) -> None:
        self._max_delay_ns = max(self._max_delay_ns, int((received_ns - sent_ns).max()))


class _Noted:
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


def _add_up(first: int, steps: NDArray[np.uint32]) -> Column:
    """Return numbers that begin at ``first`` and go on by these steps, back or forth."""
    numbers = np.empty(steps.size + 1, dtype=np.int64)
    numbers[0] = first
    numbers[1:] = steps.view(np.int32)
    np.cumsum(numbers, out=numbers)
    return numbers


def _around(jumps: NDArray[np.intp], times_ns: Column, before_ns: int) -> tuple[Column, Column]:
    """Return the times before and after each gap; ``before_ns`` is that of the frame before all."""
    earlier_ns = times_ns[jumps - 1]
    if jumps.size and jumps[0] == 0:
        earlier_ns[0] = before_ns
    return earlier_ns, times_ns[jumps]


def _find_overtaking(numbers: Column, order: NDArray[np.intp], after: Column) -> Column:
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
