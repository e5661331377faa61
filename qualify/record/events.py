"""The events of a run, one JSON object a line, on the disk before the next one happens."""

import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Self

from qualify.clock import Clock
from qualify.record.json_text import Json, write_json_line


class EventLog:
    """Appends events to ``events.jsonl``; a killed run loses none that was written.

    Every line has ``at_ns`` (the bench's clock) and ``event`` (what happened) in front of the
    facts that belong to it.
    """

    def __init__(self, file: Path, clock: Clock) -> None:
        file.parent.mkdir(parents=True, exist_ok=True)
        self._stream = file.open("a", encoding="utf-8")
        self._clock = clock

    def write(self, event: str, facts: Mapping[str, Json] | None = None) -> None:
        """Append an event and wait until the disk has it."""
        line: dict[str, Json] = {"at_ns": self._clock.now_ns(), "event": event, **(facts or {})}
        self._stream.write(write_json_line(line) + "\n")
        self._stream.flush()
        os.fsync(self._stream.fileno())

    def close(self) -> None:
        """Close the file; safe more than once."""
        self._stream.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
