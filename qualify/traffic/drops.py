"""Frames that the tester itself loses: every counter the kernel keeps of them."""

from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

_SOFTNET = Path("/proc/net/softnet_stat")
_INTERFACES = Path("/proc/thread-self/net/dev")
_RECEIVE_DROP, _SEND_DROP = 3, 11


@dataclass(frozen=True, slots=True)
class InterfaceDrops:
    """Frames that an interface dropped since it exists, by direction."""

    received: int
    sent: int


class InterfaceCounters:
    """The drop counters of one interface, wherever its namespace is.

    Made inside the namespace (see in_namespace), read from anywhere: the file keeps it.
    """

    def __init__(self, interface: str) -> None:
        self._interface = interface
        self._file: TextIO = _INTERFACES.open()

    def read(self) -> InterfaceDrops | None:
        """Return the counters; ``None`` when the interface is gone."""
        self._file.seek(0)
        return parse_interface_drops(self._file.read(), self._interface)

    def close(self) -> None:
        """Give back the file."""
        self._file.close()


def parse_interface_drops(table: str, interface: str) -> InterfaceDrops | None:
    """Find an interface in the text of ``/proc/net/dev``."""
    for line in table.splitlines():
        name, colon, numbers = line.partition(":")
        if colon and name.strip() == interface:
            columns = numbers.split()
            return InterfaceDrops(int(columns[_RECEIVE_DROP]), int(columns[_SEND_DROP]))
    return None


def read_backlog_drops() -> int | None:
    """Count frames that the machine dropped between a port and its sockets, since it started.

    They appear in no counter of a socket. The machine counts them by processor, not by port, so
    they can touch every stream. ``None`` when the machine does not tell.
    """
    try:
        return parse_backlog_drops(_SOFTNET.read_text())
    except OSError:
        return None


def parse_backlog_drops(table: str) -> int:
    """Add up the second column, hexadecimal, of the text of ``/proc/net/softnet_stat``."""
    return sum(int(line.split()[1], 16) for line in table.splitlines())


def rise(before: int | None, after: int | None) -> int | None:
    """Return by how much a counter rose; ``None`` when it could not be read both times."""
    return None if before is None or after is None else after - before
