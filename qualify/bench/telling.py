"""What a bench tells while it works, so that somebody can watch and something can be kept."""

from collections.abc import Callable
from dataclasses import dataclass

from qualify.traffic.backend import StreamCount


@dataclass(frozen=True, slots=True)
class Event:
    """Something happened.

    ``kind`` is ``bench`` (being opened or closed), ``phase`` (a phase of a trial begins),
    ``count`` (the running counts, about once a second), ``verdict`` (of a whole trial) or
    ``note``. ``trial`` is empty outside a trial; ``counts`` is empty for every kind but ``count``.
    """

    at_ns: int
    kind: str
    trial: str
    words: str
    counts: tuple[StreamCount, ...] = ()


Tell = Callable[[Event], None]
