"""What could have gone wrong on the tester's side, looked at ten times a second."""

import time
from pathlib import Path

from qualify.traffic.drops import InterfaceCounters, read_backlog_drops, rise
from qualify.traffic.ring_link import LinkWatch
from qualify.traffic.ring_ports import SendingPort, at_port

# The time service may turn the clock by 500 in a million; what is faster is a step. Below a tenth
# of a millisecond, reading two clocks one after the other is not exact enough to tell.
_LARGEST_TURN = 500e-6
_LEAST_STEP_NS = 100_000
_READINGS = 3


class ClockWatch:
    """Watches CLOCK_REALTIME, which stamps frames, against CLOCK_MONOTONIC, which never jumps."""

    def __init__(self) -> None:
        self.step_ns = 0
        self._seen_at_ns, self._offset_ns = _read_clocks()

    def look(self) -> None:
        """Compare the clocks with the last look; ``step_ns`` keeps the largest jump."""
        at_ns, offset_ns = _read_clocks()
        jump_ns = offset_ns - self._offset_ns
        turned_ns = round((at_ns - self._seen_at_ns) * _LARGEST_TURN)
        self._seen_at_ns, self._offset_ns = at_ns, offset_ns
        if abs(jump_ns) > turned_ns + _LEAST_STEP_NS and abs(jump_ns) > abs(self.step_ns):
            self.step_ns = jump_ns


class DropWatch:
    """Watches the drop counters of one port's interface, and its link.

    Frames that the sending side drops while the far end of the cable is down are lost to the
    device. The link may change between two looks: drops of a time in which the link was lost at
    any moment are taken for that. Where the port itself was switched off as well, they are not.
    What the port gave back at once is known to the sender and does not count here.
    """

    def __init__(self, interface: str, namespace: Path | None, *, sender: SendingPort) -> None:
        with at_port(interface, namespace):
            self._counters = InterfaceCounters(interface)
        self._link = LinkWatch(interface, namespace)
        self._sender = sender
        self.reset()

    def reset(self) -> None:
        """Begin to count anew."""
        self._link.look()
        self._link.forget()
        self.was_off = self._link.off
        self.receive_drops: int | None = 0
        self.send_drops: int | None = 0
        self._latest = self._counters.read()
        self._given_back = self._sender.dropped

    def look(self) -> None:
        """Attribute the drops since the last look."""
        self._link.look()
        counters, before = self._counters.read(), self._latest
        if counters is None or before is None:
            self.receive_drops = self.send_drops = None
        else:
            given_back = self._sender.dropped - self._given_back
            self._note(
                counters.received - before.received, counters.sent - before.sent - given_back
            )
        self._latest, self._given_back = counters, self._sender.dropped
        self.was_off |= self._link.was_off
        self._link.forget()

    def _note(self, received: int, sent: int) -> None:
        if self.receive_drops is not None:
            self.receive_drops += received
        without_link = self._link.was_lost and not self._link.was_off
        if self.send_drops is not None and not without_link:
            self.send_drops += sent

    def close(self) -> None:
        """Give back what it reads from."""
        self._counters.close()
        self._link.close()


class BacklogWatch:
    """Watches the drops between ports and sockets, which the machine does not tell by port."""

    def __init__(self) -> None:
        self._before = read_backlog_drops()

    def drops(self) -> int | None:
        """Return how many there were since this was made."""
        return rise(self._before, read_backlog_drops())


def _read_clocks() -> tuple[int, int]:
    """Return CLOCK_MONOTONIC, and by how much CLOCK_REALTIME is ahead of it."""
    readings = []
    for _ in range(_READINGS):
        before_ns = time.monotonic_ns()
        real_ns = time.time_ns()
        after_ns = time.monotonic_ns()
        readings.append((after_ns - before_ns, before_ns, real_ns))
    took_ns, at_ns, real_ns = min(readings)
    return at_ns, real_ns - at_ns - took_ns // 2
