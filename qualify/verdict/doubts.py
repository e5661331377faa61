"""From what the tester itself did to what it takes off a figure, and to the words for it.

Four rules, by kind of doubt. Frames that the tester lost, or cannot place, may all have passed the
device. A clock that was set makes a time wrong by as much. A tester port that was down, or a worker
that was lost, leaves nothing to rely on where frames are missing. A stall of the sender is in
the transmit times already, and frames of another run are not counted at all: both are only told.
"""

from collections.abc import Collection
from dataclasses import dataclass

from qualify.measure.capture import DoubtKind
from qualify.measure.figures import StreamFigures
from qualify.units import format_ms
from qualify.verdict.words import number_of

DROPS = (
    DoubtKind.RING_DROPS,
    DoubtKind.BACKLOG_DROPS,
    DoubtKind.INTERFACE_DROPS,
    DoubtKind.REFUSED_SENDS,
)


@dataclass(frozen=True, slots=True)
class Conceded:
    """What a fail has to stand without: frames, and time by which stamps may be wrong."""

    dropped: int
    undecidable: int
    clock_ns: int

    @property
    def frames(self) -> int:
        """Frames that the device may have forwarded although they count as lost."""
        return self.dropped + self.undecidable

    def __bool__(self) -> bool:
        return bool(self.frames or self.clock_ns)

    def __str__(self) -> str:
        parts = []
        if self.dropped:
            parts.append(f"without the {number_of(self.dropped, 'frame')} that the tester dropped")
        if self.undecidable:
            late = number_of(self.undecidable, "late frame")
            parts.append(f"without the {late} that nobody can place")
        if self.clock_ns:
            parts.append(f"with the clock off by {format_ms(self.clock_ns)}")
        return f"even {' and '.join(parts)}"


def concede(figures: StreamFigures, *, dropped: int) -> Conceded:
    """Sum up what the tester did, as far as numbers can say it.

    Args:
        figures: the stream.
        dropped: frames that the tester dropped.
    """
    told = sum(doubt.frames or 0 for doubt in figures.doubts if doubt.kind in DROPS)
    return Conceded(
        dropped=max(dropped, told),
        undecidable=figures.undecidable,
        clock_ns=sum(
            doubt.longest_ns or 0 for doubt in figures.doubts if doubt.kind is DoubtKind.CLOCK_STEP
        ),
    )


def find_unbounded(figures: StreamFigures) -> str:
    """Say what the tester did that no number bounds, so that nothing is proven; empty for nothing.

    What cannot be counted matters only where frames are missing; a clock that was set by nobody
    knows how much always does, and so does a worker that was lost.
    """
    if figures.tester_dropped is None:
        unknown = _words(figures, DROPS, bounded=False)
        return unknown or "but the tester cannot count the frames that it dropped itself"
    always = _words(figures, (DoubtKind.WORKER_LOST,)) or _words(
        figures, (DoubtKind.CLOCK_STEP,), bounded=False
    )
    if always or not figures.lost:
        return always
    return _words(figures, (DoubtKind.LINK_DOWN,)) or _words(figures, DROPS, bounded=False)


def find_drops(figures: StreamFigures, conceded: Conceded) -> str:
    """Say what the tester dropped or cannot place of a stream with loss; empty for nothing."""
    if not figures.lost:
        return ""
    if conceded.dropped:
        generic = f"but the tester itself dropped {number_of(conceded.dropped, 'frame')}"
        return _words(figures, DROPS) or generic
    return _words(figures, (DoubtKind.UNDECIDABLE,))


def find_clock_step(figures: StreamFigures, conceded: Conceded, *, budget_ns: int) -> str:
    """Say that a clock was set by so much that the outage may break the budget; empty if not."""
    if figures.outage_high_ns + conceded.clock_ns <= budget_ns:
        return ""
    return _words(figures, (DoubtKind.CLOCK_STEP,))


def _words(figures: StreamFigures, kinds: Collection[DoubtKind], *, bounded: bool = True) -> str:
    """Put the words of these kinds of doubt together; only those without a number if asked."""
    words = [
        doubt.words
        for doubt in figures.doubts
        if doubt.kind in kinds and (bounded or (doubt.frames is None and doubt.longest_ns is None))
    ]
    return f"but {' and '.join(words)}" if words else ""
