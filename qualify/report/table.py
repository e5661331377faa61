"""The verdicts of a run as lines of plain text, for a terminal of a hundred columns."""

import textwrap

from qualify.record.model import Record, StreamRecord, TrialRecord
from qualify.report.words import budget_words, decision_of, outage_words
from qualify.units import format_count
from qualify.verdict.verdict import Outcome

WIDTH = 100
_HEAD = ("case/trial", "path", "direction", "sent", "lost", "outage", "budget", "verdict")
_NUMBERS = frozenset({3, 4, 5, 6})
_NAMES = range(3)
_SHORTEST_NAME = 8
_GAP = "  "


def verdict_table(record: Record) -> list[str]:
    """Lay out one line for each stream, what else did not pass, and the decision with its reason.

    All lines but the last fit into a hundred columns, as long as the numbers alone do; what devices
    and files say cannot steer the terminal.
    """
    rows = [_HEAD, *(row for trial in record.trials for row in _rows(trial))]
    lines = _align(rows)
    lines.insert(1, "-" * max(map(len, lines)))
    for trial in record.trials:
        if trial.verdict is not Outcome.PASS:
            lines += _remark(f"{trial.case}/{trial.trial} {trial.verdict.value}: {trial.reason}")
    for left_out in record.left_out:
        lines += _remark(f"{left_out.case} left out: {left_out.reason}")
    word, reason = decision_of(record)
    return [*lines, _inert(f"{record.release} {word.value}: {reason}")]


def _rows(trial: TrialRecord) -> list[tuple[str, ...]]:
    name = _inert(f"{trial.case}/{trial.trial}")
    if not trial.streams:
        return [(name, "-", "-", "-", "-", "-", "-", trial.verdict.value)]
    return [(name, *_cells(stream)) for stream in trial.streams]


def _cells(stream: StreamRecord) -> tuple[str, ...]:
    return (
        _inert(stream.path),
        _inert(stream.direction),
        format_count(stream.sent),
        format_count(stream.lost),
        outage_words(stream),
        budget_words(stream.budget_ns),
        stream.verdict.value,
    )


def _align(rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEAD))]
    room = WIDTH - len(_GAP) * (len(_HEAD) - 1)
    while sum(widths) > room:
        longest = max(_NAMES, key=lambda column: widths[column])
        if widths[longest] <= _SHORTEST_NAME:
            break
        widths[longest] -= 1
    return [_line(row, widths) for row in rows]


def _line(row: tuple[str, ...], widths: list[int]) -> str:
    cells = [
        cell.rjust(width) if column in _NUMBERS else _shorten(cell, width).ljust(width)
        for column, (cell, width) in enumerate(zip(row, widths, strict=True))
    ]
    return _GAP.join(cells).rstrip()


def _shorten(name: str, width: int) -> str:
    """Cut a name, but never the number of the trial behind its slash."""
    if len(name) <= width:
        return name
    case, slash, trial = name.rpartition("/")
    if not slash:
        case, trial = name, ""
    return f"{case[: max(1, width - 2 - len(slash + trial))]}..{slash}{trial}"


def _remark(text: str) -> list[str]:
    return textwrap.wrap(_inert(text), width=WIDTH, subsequent_indent="    ")


def _inert(text: str) -> str:
    return "".join(letter if letter.isprintable() else " " for letter in text)
