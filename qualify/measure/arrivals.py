"""From frames as they arrive to what arrived of a stream and which numbers are missing.

The analyser sees every frame once, in chunks, and keeps only runs of missing numbers: memory does
not grow with the frames, only with the loss, up to a bound. The work is O(n) and vectorised. How
a stream is cut into chunks changes nothing. The caller may use its arrays again after each call.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.measure.gaps import (
    COLUMNS,
    FIRST,
    FRAMES,
    NO_TIME_NS,
    RECEIVED_BEFORE,
    SENT_BEFORE,
    Column,
    GapTable,
)
from qualify.measure.late import LowestNumbers, find_overtaking
from qualify.measure.runs import WIRE_NUMBERS, Runs, find_runs

# Small chunks are put together to this many frames: most of what a chunk costs knows no size.
_PENDING_FRAMES = 32_768


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
        forgotten_from: the first of them; 0 when there are none.
        duplicate_numbers: the number of each duplicate, ascending; of many the lowest 10 000. One
            below 0 was no copy: no frame of that number was ever sent.
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
    forgotten_from: int
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
        self._pending_sequence = np.empty(_PENDING_FRAMES, dtype=np.uint32)
        self._pending_ns = np.empty((2, _PENDING_FRAMES), dtype=np.int64)
        self._pending = 0
        self._gaps = GapTable(most_gaps=most_gaps)
        self._next = 0
        self._previous: int | None = None  # the last arrival's number; may be below 0, see _unwrap
        self._highest_sent_ns = self._highest_received_ns = NO_TIME_NS
        self._in_order = self._duplicate = self._reordered = self._undecidable = 0
        self._impaired_ns: int | None = None
        self._last_received_ns: int | None = None
        self._max_delay_ns = -1
        self._duplicates = LowestNumbers()
        self._overtaking = LowestNumbers()

    @property
    def counts(self) -> ArrivalCounts:
        """The counts until now."""
        self._flush()
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
        if self._pending + sequence.size > _PENDING_FRAMES:
            self._flush()
        if sequence.size > _PENDING_FRAMES:
            self._analyse(sequence, sent_ns, received_ns)
            return
        place = slice(self._pending, self._pending + sequence.size)
        self._pending_sequence[place] = sequence
        self._pending_ns[0, place] = sent_ns
        self._pending_ns[1, place] = received_ns
        self._pending = place.stop

    def finish(self) -> Arrivals:
        """Return what arrived until now; the analyser may go on."""
        self._flush()
        return Arrivals(
            received=self._in_order + self._reordered,
            duplicate=self._duplicate,
            reordered=self._reordered,
            undecidable=self._undecidable,
            next_expected=self._next,
            gaps=self._gaps.rows(),
            forgotten_gaps=self._gaps.forgotten_gaps,
            forgotten_frames=self._gaps.forgotten_frames,
            forgotten_from=self._gaps.forgotten_from,
            duplicate_numbers=self._duplicates.lowest(),
            overtaking_numbers=self._overtaking.lowest(),
            max_delay_ns=self._max_delay_ns if self._max_delay_ns >= 0 else None,
        )

    def _flush(self) -> None:
        if self._pending:
            end, self._pending = self._pending, 0
            self._analyse(self._pending_sequence[:end], *self._pending_ns[:, :end])

    def _analyse(self, sequence: NDArray[np.uint32], sent_ns: Column, received_ns: Column) -> None:
        self._last_received_ns = int(received_ns[-1])
        first = self._unwrap(int(sequence[0]))
        steps = sequence[1:] - sequence[:-1]
        breaks = np.flatnonzero(steps != 1)
        if first == self._next and not breaks.size:
            self._previous = first + sequence.size - 1
            self._advance(self._previous, sent_ns[-1], received_ns[-1])
            self._in_order += sequence.size
            self._note_delays(received_ns - sent_ns)
        else:
            runs = find_runs(first, breaks, steps[breaks], highest=self._next - 1, n=sequence.size)
            self._previous = runs.previous
            self._take_runs(runs, sent_ns, received_ns)

    def _unwrap(self, wire: int) -> int:
        """Return the number nearest to that of the arrival before which reads so on the wire.

        Source:
            RFC 4737 §6: a jump of more than half of the range is a rollover.
        """
        if self._previous is None:
            return wire
        half = WIRE_NUMBERS // 2
        return self._previous + (wire - self._previous + half) % WIRE_NUMBERS - half

    def _take_runs(self, runs: Runs, sent_ns: Column, received_ns: Column) -> None:
        """Take runs of consecutive numbers: what is above all before them, then what is late."""
        late, places = runs.late_frames()
        delays_ns = received_ns - sent_ns
        delays_ns[places] = -1  # copies may be among them
        self._note_delays(delays_ns)
        gap_places = self._take_ascending(runs, sent_ns, received_ns)
        if late.size:
            self._take_late(late, sent_ns[places], received_ns[places])
        seen = max(gap_places.max(initial=-1), places.max(initial=-1))
        self._impaired_ns = int(received_ns[seen])

    def _take_ascending(self, runs: Runs, sent_ns: Column, received_ns: Column) -> Column:
        """Take what is above all before it; return the places of the frames after a gap."""
        above = np.flatnonzero(runs.late < runs.frames)
        if not above.size:
            return above
        # The highest number before a run is the last one of the run above all before that.
        ends = (runs.place + runs.frames - 1)[above]
        missing = (runs.first - runs.highest - 1)[above]
        after = np.flatnonzero(missing > 0)
        gaps = np.empty((COLUMNS, after.size), dtype=np.int64)
        gaps[FIRST] = runs.highest[above[after]] + 1
        gaps[FRAMES] = missing[after]
        places = runs.place[above[after]]
        for column, times_ns, before_ns in (
            (SENT_BEFORE, sent_ns, self._highest_sent_ns),
            (RECEIVED_BEFORE, received_ns, self._highest_received_ns),
        ):
            gaps[column] = times_ns[ends[after - 1]]
            if after.size and after[0] == 0:
                gaps[column, 0] = before_ns
            gaps[column + 1] = times_ns[places]
        self._gaps.add(gaps)
        self._in_order += int((runs.frames - runs.late).sum())
        highest = int(runs.first[above[-1]] + runs.frames[above[-1]] - 1)
        self._advance(highest, sent_ns[ends[-1]], received_ns[ends[-1]])
        return places

    def _advance(self, highest: int, sent_ns: np.int64, received_ns: np.int64) -> None:
        self._next = highest + 1
        self._highest_sent_ns = int(sent_ns)
        self._highest_received_ns = int(received_ns)

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
            self._overtaking.note(find_overtaking(numbers, order, self._gaps.after(gap)))
        self._gaps.fill(gap, numbers, sent_ns=sent_ns, received_ns=received_ns)
        self._note_delays(received_ns - sent_ns)

    def _note_delays(self, delays_ns: Column) -> None:
        self._max_delay_ns = max(self._max_delay_ns, int(delays_ns.max()))
