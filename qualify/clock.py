"""The one clock of a run: real time on a real bench, virtual time on a simulated one."""

import time
from typing import Protocol

from qualify.units import NS_PER_S


class Clock(Protocol):
    """Nanoseconds since the Unix epoch, and a way to let time pass."""

    def now_ns(self) -> int:
        """Return the time, in nanoseconds since the Unix epoch."""
        ...

    def sleep(self, seconds: float) -> None:
        """Let that much time pass."""
        ...


class RealClock:
    """The machine's clock, CLOCK_REALTIME: the kernel stamps received frames with the same one."""

    def now_ns(self) -> int:
        """Return CLOCK_REALTIME."""
        return time.time_ns()

    def sleep(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(seconds)


class VirtualClock:
    """A clock that moves only when somebody sleeps on it."""

    def __init__(self, start_ns: int) -> None:
        self._now_ns = start_ns

    def now_ns(self) -> int:
        """Return the virtual time."""
        return self._now_ns

    def sleep(self, seconds: float) -> None:
        """Move the time forward, at once."""
        self._now_ns += round(seconds * NS_PER_S)
