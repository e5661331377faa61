"""Whether a port has lost its link or was switched off.

Asking the kernel for a link waits for whoever configures a network at that moment, and nothing may
keep a sender waiting: a thread asks, and only when there is a reason. That a link *was* lost and a
port *was* switched off, the kernel tells by itself, if up to a second later.
"""

import errno
import socket
import struct
import time
from collections.abc import Iterator
from pathlib import Path
from threading import Event, Thread

from qualify.traffic.packet_sockets import link_is_lost
from qualify.traffic.ring_ports import at_port

_GROUP_LINK = 1
_NEW_LINK, _GET_LINK = 16, 18
_REQUEST = 1
_UP, _LOWER_UP = 0x1, 0x10000
_CARRIER_DOWN_COUNT = 48
_HEADER = struct.Struct("IHHII")
_LINK = struct.Struct("BxHiII")
_ATTRIBUTE = struct.Struct("HH")
_LONGEST_MESSAGE = 1 << 16
_ANSWER_TIMEOUT_S = 5.0


class LinkWatch:
    """Follows one interface, in whatever namespace it is.

    ``lost`` and ``off`` say how it is; ``was_lost`` and ``was_off`` whether it was so at any time
    since the last ``forget``, however short.
    """

    def __init__(self, interface: str, namespace: Path | None) -> None:
        with at_port(interface, namespace):
            self._index = socket.if_nametoindex(interface)
            self._events = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, socket.NETLINK_ROUTE)
            self._events.bind((0, _GROUP_LINK))
        self.lost = self.off = self.was_lost = self.was_off = False
        self._losses: int | None = None
        self._ask()
        self.forget()

    def look(self) -> None:
        """Take note of what has happened since the last look; never waits."""
        while True:
            try:
                messages = self._events.recv(_LONGEST_MESSAGE, socket.MSG_DONTWAIT)
            except BlockingIOError:
                return
            except OSError as failure:
                if failure.errno != errno.ENOBUFS:
                    raise
                # The kernel had more to tell than there was room: anything may have happened.
                self.was_lost = True
                continue
            self._take(messages)

    def forget(self) -> None:
        """Let ``was_lost`` and ``was_off`` begin anew."""
        self.was_lost, self.was_off = self.lost, self.off

    def close(self) -> None:
        """Give back the socket."""
        self._events.close()

    def _ask(self) -> None:
        body = _LINK.pack(socket.AF_UNSPEC, 0, self._index, 0, 0)
        head = _HEADER.pack(_HEADER.size + len(body), _GET_LINK, _REQUEST, 1, 0)
        self._events.settimeout(_ANSWER_TIMEOUT_S)
        self._events.send(head + body)
        while self._losses is None:
            self._take(self._events.recv(_LONGEST_MESSAGE))
        self._events.settimeout(None)

    def _take(self, messages: bytes) -> None:
        for kind, body in _split(messages):
            if kind == _NEW_LINK and _LINK.unpack_from(body)[2] == self._index:
                self._note(body)

    def _note(self, link: bytes) -> None:
        flags = _LINK.unpack_from(link)[3]
        losses = _count_losses(link[_LINK.size :])
        self.off = not flags & _UP
        self.lost = not self.off and not flags & _LOWER_UP
        self.was_off |= self.off
        # Switching the port off counts as a loss of the link, too.
        lost_since = self._losses is not None and losses != self._losses
        self.was_lost |= self.lost or (lost_since and not self.off)
        self._losses = losses


class Carrier:
    """Asks whether the far end of a port's cable is down, without keeping anybody waiting."""

    def __init__(self, interface: str, namespace: Path | None) -> None:
        self._interface = interface
        with at_port(interface, namespace):
            self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._wanted = Event()
        self._ended = False
        self._asked_ns, self._lost = time.monotonic_ns(), self._ask()
        self._thread = Thread(target=self._answer, daemon=True)
        self._thread.start()

    def is_lost(self, *, since_ns: int) -> bool | None:
        """Tell how it is at that time of CLOCK_MONOTONIC or later; ``None``: not known yet."""
        asked_ns, lost = self._asked_ns, self._lost
        if asked_ns >= since_ns:
            return lost
        self._wanted.set()
        return None

    def close(self) -> None:
        """End the thread and give back the socket."""
        self._ended = True
        self._wanted.set()
        self._thread.join()
        self._socket.close()

    def _ask(self) -> bool:
        try:
            return link_is_lost(self._socket, self._interface)
        except OSError:  # the interface is gone
            return False

    def _answer(self) -> None:
        while self._wanted.wait() and not self._ended:
            self._wanted.clear()
            asked_ns = time.monotonic_ns()
            # In this order: whoever sees the new time also sees the new answer.
            self._lost = self._ask()
            self._asked_ns = asked_ns


def _split(messages: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at + _HEADER.size <= len(messages):
        octets, kind = _HEADER.unpack_from(messages, at)[:2]
        yield kind, messages[at + _HEADER.size : at + octets]
        at += -(-octets // 4) * 4


def _count_losses(attributes: bytes) -> int:
    at = 0
    while at + _ATTRIBUTE.size <= len(attributes):
        octets, kind = _ATTRIBUTE.unpack_from(attributes, at)
        if kind == _CARRIER_DOWN_COUNT:
            return int(struct.unpack_from("I", attributes, at + _ATTRIBUTE.size)[0])
        at += -(-octets // 4) * 4
    return 0
