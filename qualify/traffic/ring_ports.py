"""The tester ports of a worker: opening them, and sending whole batches on them."""

import ctypes
import errno
import fcntl
import socket
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum, auto
from pathlib import Path
from typing import Protocol

from qualify.errors import TrafficError
from qualify.traffic.namespaces import in_namespace
from qualify.traffic.packet_sockets import RECEIVE_NOTHING, attach_filter, port_mtu

_SIOCGIFFLAGS = 0x8913
_SIOCGIFHWADDR = 0x8927
_IFF_UP = 0x1
_SEND_BUFFER_OCTETS = 4 * 1024 * 1024
_SO_SNDBUFFORCE = 32

_libc = ctypes.CDLL(None, use_errno=True)
_sendmmsg = _libc.sendmmsg
_sendmmsg.argtypes = (ctypes.c_int, ctypes.c_void_p, ctypes.c_uint, ctypes.c_int)
_sendmmsg.restype = ctypes.c_int


class Carrier(Protocol):
    """Knows whether the far end of a cable is down; see ring_link."""

    def is_lost(self, *, since_ns: int) -> bool | None:
        """Tell how it is at that time of CLOCK_MONOTONIC or later; ``None``: not known yet."""
        ...


class Refusal(Enum):
    """Why a port did not take a frame."""

    OWN = auto()
    """It had no room, or somebody switched it off: the frame was never offered."""
    WITHOUT_LINK = auto()
    """The far end of the cable, the device, is down: the frame is lost to that."""
    UNKNOWN = auto()
    """One of the two; a moment later it will be known which."""


class SendingPort:
    """A port that test frames leave from; it is bound to one interface for good.

    ``dropped`` counts the calls whose first frame the port took and dropped at once, without room
    or without a link; the interface counts these frames, too.

    Raises:
        TrafficError: there is no such interface, or it is not the one that was meant.
    """

    def __init__(
        self, interface: str, namespace: Path | None, *, mac: str, carrier: Carrier
    ) -> None:
        self.interface = interface
        with at_port(interface, namespace):
            # Protocol 0: the socket receives nothing.
            self._socket = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
            try:
                self._socket.bind((interface, 0))
                _check_mac(self._socket, interface, mac)
                _widen_send_buffer(self._socket)
                self.mtu = port_mtu(self._socket, interface)
            except BaseException:
                self._socket.close()
                raise
        self._descriptor = self._socket.fileno()
        self._carrier = carrier
        self._refused_since_ns = 0
        self.dropped = 0

    def send(self, messages: int, count: int) -> int | Refusal:
        """Hand over a batch.

        Args:
            messages: address of an array of struct mmsghdr.
            count: how many of them.

        Returns:
            How many the port took, one or more; or why it did not take the first.
        """
        taken: int = _sendmmsg(self._descriptor, messages, count, socket.MSG_DONTWAIT)
        if taken > 0:
            self._refused_since_ns = 0
            return taken
        return self._find_reason(ctypes.get_errno())

    def close(self) -> None:
        """Give back the socket."""
        self._socket.close()

    def _find_reason(self, error: int) -> Refusal:
        self.dropped += error == errno.ENOBUFS
        if error == errno.ENETDOWN:
            return Refusal.WITHOUT_LINK if self._is_on() else Refusal.OWN
        if error != errno.ENOBUFS:
            return Refusal.OWN
        self._refused_since_ns = self._refused_since_ns or time.monotonic_ns()
        lost = self._carrier.is_lost(since_ns=self._refused_since_ns)
        if lost is None:
            return Refusal.UNKNOWN
        self._refused_since_ns = 0
        return Refusal.WITHOUT_LINK if lost else Refusal.OWN

    def _is_on(self) -> bool:
        try:
            return bool(_flags(self._socket, self.interface) & _IFF_UP)
        except OSError:  # the interface is gone
            return False


def handle_type(interface: str, namespace: Path | None, ether_type: int) -> socket.socket:
    """Let frames of that EtherType have somebody to go to.

    A tagged frame that only rings have received is counted as dropped by the interface, unless
    somebody asked for its type.
    """
    with at_port(interface, namespace):
        handler = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        attach_filter(handler, RECEIVE_NOTHING)
        handler.bind((interface, ether_type))
        return handler


@contextmanager
def at_port(interface: str, namespace: Path | None) -> Iterator[None]:
    """Work in the namespace of a port, and say it by name when that is not possible."""
    with in_namespace(namespace):
        try:
            yield
        except PermissionError as failure:
            raise TrafficError(
                f"raw sockets on {interface} are not allowed: {failure.strerror}",
                fix="run as root, or give Python the capability CAP_NET_RAW",
            ) from failure
        except OSError as failure:
            raise TrafficError(
                f"the tester port {interface} cannot be used: {failure.strerror}",
                fix="check that the interface is there and up: ip link",
            ) from failure


def _check_mac(packets: socket.socket, interface: str, mac: str) -> None:
    request = struct.pack("16s16x", interface.encode())
    answer = fcntl.ioctl(packets, _SIOCGIFHWADDR, request)
    found = answer[18:24].hex(":")
    if found != mac.lower():
        raise TrafficError(
            f"{interface} has the MAC address {found}, the tester port has {mac.lower()}",
            fix="check which interface the testbed means: nothing is sent on any other",
        )


def _flags(packets: socket.socket, interface: str) -> int:
    request = struct.pack("16s16x", interface.encode())
    flags: int = struct.unpack("16xH14x", fcntl.ioctl(packets, _SIOCGIFFLAGS, request))[0]
    return flags


def _widen_send_buffer(packets: socket.socket) -> None:
    try:
        packets.setsockopt(socket.SOL_SOCKET, _SO_SNDBUFFORCE, _SEND_BUFFER_OCTETS)
    except PermissionError:
        packets.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER_OCTETS)
