"""The options of a Linux packet socket that counting needs, and what Python has no names for."""

import ctypes
import fcntl
import socket
import struct
from collections.abc import Iterable

from qualify.frames import Layout, pack_filter
from qualify.frames.packet_filter import Instruction

ETH_P_ALL = 3
RECEIVE_NOTHING: tuple[Instruction, ...] = (Instruction(0x06, 0, 0, 0),)

_SOL_PACKET = 263
_PACKET_ADD_MEMBERSHIP = 1
_PACKET_MR_PROMISC = 1
_PACKET_STATISTICS = 6
_PACKET_IGNORE_OUTGOING = 23
_SO_ATTACH_FILTER = 26
_SO_RCVBUFFORCE = 33
_SIOCGIFFLAGS = 0x8913
_SIOCGIFMTU = 0x8921
_SIOCETHTOOL = 0x8946
_ETHTOOL_GLINK = 0x0A
_IFF_UP = 0x1


def open_sinks(interface: str, layouts: Iterable[Layout]) -> list[socket.socket]:
    """Return sockets that take tagged test frames off the kernel's hands, and throw them away.

    A tagged frame that no protocol takes, once packet sockets have seen it, counts among the drops
    of the port, as if the tester had lost it. To be called in the namespace of the interface.

    Args:
        interface: the port at which frames arrive.
        layouts: in which they were sent.
    """
    sinks = []
    for ether_type in sorted({layout.received.ether_type for layout in layouts if layout.vlans}):
        sink = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        sinks.append(sink)
        attach_filter(sink, RECEIVE_NOTHING)
        ignore_outgoing(sink)
        sink.bind((interface, ether_type))
    return sinks


def attach_filter(packets: socket.socket, program: tuple[Instruction, ...]) -> None:
    """Let the kernel run the program on every frame before it is queued."""
    code = ctypes.create_string_buffer(pack_filter(program))
    packets.setsockopt(
        socket.SOL_SOCKET,
        _SO_ATTACH_FILTER,
        struct.pack("HP", len(program), ctypes.addressof(code)),
    )


def ignore_outgoing(packets: socket.socket) -> None:
    """Do not show the socket what the port itself sends."""
    packets.setsockopt(_SOL_PACKET, _PACKET_IGNORE_OUTGOING, 1)


def receive_everything(packets: socket.socket, interface_index: int) -> None:
    """Let the port receive frames to any MAC address: the tester stands for many hosts."""
    request = struct.pack("IHH8s", interface_index, _PACKET_MR_PROMISC, 0, b"")
    packets.setsockopt(_SOL_PACKET, _PACKET_ADD_MEMBERSHIP, request)


def widen_receive_buffer(packets: socket.socket, octets: int) -> None:
    """Ask for a receive buffer, beyond the machine's limit where this process may."""
    try:
        packets.setsockopt(socket.SOL_SOCKET, _SO_RCVBUFFORCE, octets)
    except PermissionError:
        packets.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, octets)


def read_statistics(packets: socket.socket) -> tuple[int, int]:
    """Return frames that passed the filter, and those of them that found the buffer full.

    Reading sets both back to zero.
    """
    seen, dropped = struct.unpack("II", packets.getsockopt(_SOL_PACKET, _PACKET_STATISTICS, 8))
    return seen, dropped


def discard_queued(packets: socket.socket) -> None:
    """Throw away what is queued: frames from before the socket was bound and filtered."""
    while True:
        try:
            packets.recv(1, socket.MSG_DONTWAIT)
        except BlockingIOError:
            return


def port_mtu(packets: socket.socket, interface: str) -> int:
    """Return the largest IP packet that the port carries, in octets."""
    return int(struct.unpack("16xi12x", _ask(packets, _SIOCGIFMTU, interface))[0])


def link_is_lost(packets: socket.socket, interface: str) -> bool:
    """Tell whether the port is on but has no link: the far end of its cable is down.

    A port that cannot tell, or that is itself switched off, has not lost its link.
    """
    flags = struct.unpack("16xH14x", _ask(packets, _SIOCGIFFLAGS, interface))[0]
    if not flags & _IFF_UP:
        return False
    value = ctypes.create_string_buffer(struct.pack("II", _ETHTOOL_GLINK, 1), 8)
    request = struct.pack("16sP8x", interface.encode(), ctypes.addressof(value))
    try:
        fcntl.ioctl(packets, _SIOCETHTOOL, request)
    except OSError:
        return False
    return not struct.unpack("4xI", value.raw)[0]


def _ask(packets: socket.socket, question: int, interface: str) -> bytes:
    return fcntl.ioctl(packets, question, struct.pack("16s16x", interface.encode()))
