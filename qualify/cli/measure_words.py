"""What ``qualify measure`` shows: the live line, the table, and the sentences of a self-check."""

import sys
from collections.abc import Sequence
from typing import TextIO

from qualify.bench.measurement import MeasuredStream, Progress
from qualify.bench.self_check import SelfCheck
from qualify.plan.capability import Capability
from qualify.plan.stream import Stream
from qualify.traffic.backend import total_received, total_sent
from qualify.units import NS_PER_S, format_count, format_ms

# Where no terminal can rewrite a line, a new one appears this often.
LINE_EVERY_NS = 5 * NS_PER_S
_ERASE = "\r\x1b[K"
_HEADER = (
    "stream", "sent", "received", "lost", "duplicate", "reordered",
    "largest delay", "longest stall", "tester drops",
)  # fmt: skip


class LiveLine:
    """Rewrites one line on a terminal; elsewhere writes a line every few seconds.

    Args:
        streams: whose counts will come.
        seconds: how long the measurement will last.
        output: where to write.
    """

    def __init__(
        self, streams: Sequence[Stream], *, seconds: int, output: TextIO | None = None
    ) -> None:
        self._names = {each.number: f"{each.path} {each.direction}" for each in streams}
        self._seconds = seconds
        self._output = output or sys.stdout
        self._rewrites = self._output.isatty()
        self._written_ns = 0
        self._last = Progress(0, ())

    def show(self, progress: Progress) -> None:
        """Show how far the measurement is; the rate is that since the last time."""
        last, self._last = self._last, progress
        if self._rewrites:
            print(_ERASE + self._words(last, progress), end="", file=self._output, flush=True)
        elif progress.elapsed_ns - self._written_ns >= LINE_EVERY_NS:
            self._written_ns = progress.elapsed_ns
            print(self._words(last, progress), file=self._output, flush=True)

    def end(self) -> None:
        """Leave the line."""
        if self._rewrites:
            print(_ERASE, end="", file=self._output, flush=True)

    def _words(self, last: Progress, now: Progress) -> str:
        sent, received = total_sent(now.counts), total_received(now.counts)
        elapsed = f"{now.elapsed_ns // NS_PER_S} of {self._seconds} s"
        if sent is None or received is None:
            return f"{elapsed}: nobody counts while the traffic runs"
        span_ns = now.elapsed_ns - last.elapsed_ns
        rate_pps = (sent - (total_sent(last.counts) or 0)) * NS_PER_S // max(span_ns, 1)
        impaired = [self._names[each.stream] for each in now.counts if each.impaired_ns is not None]
        return (
            f"{elapsed}: "
            f"{format_count(rate_pps)} frames/s, sent {format_count(sent)}, "
            f"lost or under way {format_count(max(0, sent - received))}; "
            f"impaired: {', '.join(impaired) or 'none'}"
        )


def table(measured: Sequence[MeasuredStream]) -> list[str]:
    """Return the lines of the table, one for each stream, and what else there is to say."""
    rows = [_HEADER, *map(_row, measured)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEADER))]
    lines = ["  ".join(_aligned(row, widths)).rstrip() for row in rows]
    problems = [f"{_name(each)}: {words}" for each in measured for words in _remarks(each)]
    clean = all(each.clean for each in measured)
    verdict = "clean: all that was sent arrived, once and in order" if clean else "not clean"
    return [*lines, *problems, verdict]


def sentences(checked: SelfCheck) -> list[str]:
    """Say in plain sentences what a self-check found."""
    capability = checked.capability
    if capability is None:
        return ["This machine sends no rate without loss, so it cannot prove anything; see above."]
    return [_rate(capability, capped=checked.capped), _stalls(capability), _proof(capability)]


def _rate(capability: Capability, *, capped: bool) -> str:
    cap = "; the backend itself allows no more" if capped else ""
    return (
        f"This machine sends and receives {format_count(capability.total_pps)} frames/s in all "
        f"without loss: {capability.streams} streams of {format_count(capability.rate_pps)}, "
        f"{capability.frame_octets} octets each{cap}."
    )


def _stalls(capability: Capability) -> str:
    return (
        f"99 of 100 frames of a stream left at most {format_ms(capability.p99_stall_ns)} late "
        f"after the one before, and every one at most {format_ms(capability.longest_stall_ns)}."
    )


def _proof(capability: Capability) -> str:
    smallest = format_ms(capability.smallest_budget_ns(capability.rate_pps))
    return (
        f"So at this rate an outage of {smallest} is always seen, and {smallest} is the smallest "
        "budget that a stream without loss can prove."
    )


def _remarks(measured: MeasuredStream) -> list[str]:
    """Say why a stream has no figures, or what the tester did to it."""
    if measured.figures is None:
        return [measured.problem]
    return [doubt.words for doubt in measured.figures.doubts]


def _row(measured: MeasuredStream) -> tuple[str, ...]:
    figures = measured.figures
    if figures is None:
        return (_name(measured), *["unknown"] * (len(_HEADER) - 1))
    counts = (figures.sent, figures.received, figures.lost, figures.duplicate, figures.reordered)
    return (
        _name(measured),
        *map(_count, counts),
        _time(figures.max_delay_ns),
        _time(figures.longest_stall_ns),
        _count(figures.tester_dropped),
    )


def _name(measured: MeasuredStream) -> str:
    return f"{measured.stream.path} {measured.stream.direction}"


def _count(number: int | None) -> str:
    return "unknown" if number is None else format_count(number)


def _time(duration_ns: int | None) -> str:
    return "unknown" if duration_ns is None else format_ms(duration_ns)


def _aligned(row: Sequence[str], widths: Sequence[int]) -> list[str]:
    """Names to the left, numbers to the right."""
    first, *others = zip(row, widths, strict=True)
    return [first[0].ljust(first[1]), *(text.rjust(width) for text, width in others)]
