"""What a worker tells about its streams at the end."""

import os
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from qualify.measure.arrivals import Arrivals
from qualify.traffic.ring_messages import ReceivedStream, SentStream
from qualify.traffic.ring_pipe import Array
from qualify.traffic.ring_sender import SendingStream

# The other fields of Arrivals are whole numbers or ``None``.
_ARRAYS = ("gaps", "duplicate_numbers", "overtaking_numbers")


def describe_sent(position: int, sender: SendingStream) -> SentStream:
    """Describe a stream that was sent."""
    schedule = sender.schedule
    return SentStream(
        position=position,
        sent=sender.sent,
        refused=sender.refused,
        skipped=schedule.skipped,
        late=schedule.late,
        latest_ns=schedule.latest_ns,
        latest_at_ns=schedule.latest_at_ns,
    )


def describe_received(position: int, arrivals: Arrivals) -> tuple[ReceivedStream, Sequence[Array]]:
    """Describe a stream that was received, with the arrays that belong to it."""
    values = {field.name: getattr(arrivals, field.name) for field in fields(Arrivals)}
    arrays = [values.pop(name) for name in _ARRAYS]
    return ReceivedStream(position, tuple(values.values())), arrays


def read_arrivals(told: ReceivedStream, arrays: Sequence[Array]) -> Arrivals:
    """Return what ``describe_received`` was given."""
    names = [field.name for field in fields(Arrivals) if field.name not in _ARRAYS]
    values: dict[str, Any] = dict(zip(names, told.numbers, strict=True))
    values |= zip(_ARRAYS, arrays, strict=True)
    return Arrivals(**values)


def read_resident_octets() -> int:
    """Return how much memory this process holds."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")
