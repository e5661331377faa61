"""From a file of counts, CSV or JSON, to what a generator counted for every stream."""

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from qualify.errors import TrafficError
from qualify.testbed.testbed import Column, CountersFile
from qualify.units import NS_PER_MS

LARGEST_FILE_OCTETS = 10_000_000
_COUNT = re.compile(r"[0-9]{1,18}")


@dataclass(frozen=True, slots=True)
class CountsRow:
    """The counts of one stream; ``None`` for what the file does not hold."""

    sent: int
    received: int
    lost: int | None
    duplicate: int | None
    reordered: int | None
    loss_periods: int | None
    tester_dropped: int | None
    longest_stall_ns: int | None


def read_counts(source: CountersFile) -> dict[str, CountsRow]:
    """Read the counts of every stream in the file, by the name of the stream.

    Raises:
        TrafficError: the file cannot be read, or a count in it is none.
    """
    rows: dict[str, CountsRow] = {}
    for place, row in _rows(source.file, _read_text(source.file)):
        for name in source.columns.values():
            if name not in row:
                raise _wrong(place, f"there is no column '{name}'", "mend tester.counters.columns")
        cells = {column: row[name] for column, name in source.columns.items()}
        stream = cells[Column.STREAM]
        if not isinstance(stream, str) or not stream.strip():
            raise _wrong(place, "a stream has no name", "write its path and direction: egp p5>p6")
        if stream.strip() in rows:
            raise _wrong(place, f"stream {stream.strip()} stands here twice", "delete one of them")
        rows[stream.strip()] = _read_row(place, cells)
    return rows


def _read_text(file: Path) -> str:
    try:
        if file.stat().st_size > LARGEST_FILE_OCTETS:
            raise _wrong(str(file), "the file of counts is too large", "write a line for a stream")
        return file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise TrafficError(
            f"the counts cannot be read: {error}",
            fix="let the generator, or write yourself, a UTF-8 file of counts here",
            where=str(file),
        ) from error


def _rows(file: Path, text: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Give every row with its place."""
    if file.suffix == ".csv":
        reader = csv.DictReader(io.StringIO(text, newline=""), restval="")
        try:
            for row in reader:
                yield f"{file}:{reader.line_num}", row
        except csv.Error as error:
            raise _wrong(str(file), f"this is no CSV: {error}", "write commas and lines") from error
        return
    try:
        rows = json.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError) as error:
        raise _wrong(str(file), f"this is no JSON: {error}", "write a list of objects") from error
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise _wrong(str(file), "this is no list of objects", "write one object for each stream")
    for number, row in enumerate(rows):
        yield f"{file} [{number}]", row


def _read_row(place: str, cells: Mapping[Column, Any]) -> CountsRow:
    counts = {
        column: _read_count(place, column, cells.get(column, ""))
        for column in Column
        if column not in (Column.STREAM, Column.LONGEST_STALL_MS)
    }
    sent, received = counts[Column.SENT], counts[Column.RECEIVED]
    if sent is None or received is None:
        raise _wrong(place, "sent or received is missing", "write both counts for every stream")
    return CountsRow(
        sent=sent,
        received=received,
        lost=counts[Column.LOST],
        duplicate=counts[Column.DUPLICATE],
        reordered=counts[Column.REORDERED],
        loss_periods=counts[Column.LOSS_PERIODS],
        tester_dropped=counts[Column.TESTER_DROPPED],
        longest_stall_ns=_read_stall(place, cells.get(Column.LONGEST_STALL_MS, "")),
    )


def _read_count(place: str, column: Column, cell: object) -> int | None:
    """Read a whole number; an empty cell, like ``null``, is unknown and never 0."""
    text = _text(cell)
    if not text:
        return None
    if not _COUNT.fullmatch(text):
        raise _wrong(
            place, f"'{text}' is no number of frames ({column})", "write digits only, e.g. 30000"
        )
    return int(text)


def _read_stall(place: str, cell: object) -> int | None:
    text = _text(cell)
    if not text:
        return None
    try:
        stall_ms = Decimal(text)
    except InvalidOperation:
        stall_ms = Decimal("NaN")
    if not stall_ms.is_finite() or not 0 <= stall_ms < LARGEST_FILE_OCTETS:
        raise _wrong(place, f"'{text}' is no time in milliseconds", "write e.g. 0.05")
    # Rounded up: a stall never gets shorter by being read.
    return int((stall_ms * NS_PER_MS).to_integral_value(ROUND_CEILING))


def _text(cell: object) -> str:
    if cell is None:
        return ""
    return cell.strip() if isinstance(cell, str) else str(cell)


def _wrong(where: str, problem: str, fix: str) -> TrafficError:
    return TrafficError(problem, fix=fix, where=where)
