"""scapy's own sockets, on a port in whatever namespace, with the kernel's exact time stamps."""

import errno
import select
import socket
import struct
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from scapy.arch.linux import L2ListenSocket, L2Socket, LinuxInterfaceProvider
from scapy.data import SO_TIMESTAMPNS
from scapy.interfaces import NetworkInterface

from qualify.errors import TrafficError
from qualify.frames import Layout, find_payload, foreign_frame_filter, our_frame_filter
from qualify.traffic.drops import InterfaceCounters
from qualify.traffic.namespaces import in_namespace
from qualify.traffic.packet_sockets import (
    ETH_P_ALL,
    RECEIVE_NOTHING,
    attach_filter,
    discard_queued,
    ignore_outgoing,
    link_is_lost,
    open_sinks,
    port_mtu,
    read_statistics,
    receive_everything,
    widen_receive_buffer,
)
from qualify.units import NS_PER_S

_ANCILLARY_OCTETS = socket.CMSG_SPACE(16) + socket.CMSG_SPACE(20)
_FOREIGN_BUFFER_OCTETS = 4096
_LONGEST_KEPT_OCTETS = 128


@dataclass(slots=True)
class Arrival:
    """A test frame that arrived; ``sniffed_on`` is set by scapy's sniffer."""

    stream: int
    number: int
    received_ns: int
    sniffed_on: int = -1


class ArrivalSocket(L2ListenSocket):
    """A listening socket of scapy that hands over test frames of one run and nothing else.

    The frames are read here instead of being dissected by scapy: that is ten times faster, and
    scapy would turn the kernel's time stamp into a binary float.
    """

    def __init__(
        self,
        interface: NetworkInterface,
        *,
        run_id: int,
        layouts: Sequence[Layout],
        buffer_octets: int,
    ) -> None:
        super().__init__(iface=interface, promisc=False, nofilter=1)
        attach_filter(self.ins, our_frame_filter(run_id, layouts))
        ignore_outgoing(self.ins)
        receive_everything(self.ins, interface.index)
        discard_queued(self.ins)
        widen_receive_buffer(self.ins, buffer_octets)
        read_statistics(self.ins)

    def recv(self, x: int = _LONGEST_KEPT_OCTETS, **_kwargs: object) -> Arrival | None:  # type: ignore[override]
        """Return the next frame; ``None`` when there is none, or the port was switched off."""
        try:
            octets, ancillary, _, _ = self.ins.recvmsg(x, _ANCILLARY_OCTETS, socket.MSG_DONTWAIT)
        except BlockingIOError:
            return None
        except OSError as failure:
            # Told once when a port goes down; scapy would close the socket and stay deaf.
            if failure.errno != errno.ENETDOWN:
                raise
            return None
        payload = find_payload(octets)
        if payload is None:
            return None
        return Arrival(payload.stream, payload.number, _stamp_ns(ancillary))


class ForeignCounter:
    """Counts the test frames of other runs at a port, in the kernel: they are never read."""

    def __init__(self, interface: NetworkInterface, *, run_id: int) -> None:
        self._packets = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        attach_filter(self._packets, foreign_frame_filter(run_id))
        ignore_outgoing(self._packets)
        widen_receive_buffer(self._packets, _FOREIGN_BUFFER_OCTETS)
        self._packets.bind((interface.name, ETH_P_ALL))

    def read(self) -> int:
        """Return how many there were since the last reading."""
        return read_statistics(self._packets)[0]

    def close(self) -> None:
        """Give back the socket."""
        self._packets.close()


class ListeningPort:
    """A port that test frames may arrive at, with every counter of what can get lost there."""

    def __init__(
        self,
        interface: str,
        namespace: Path | None,
        *,
        run_id: int,
        layouts: Sequence[Layout],
        buffer_octets: int,
    ) -> None:
        with in_namespace(namespace), _explained(interface):
            found = _find_interface(interface)
            self.arrivals = ArrivalSocket(
                found, run_id=run_id, layouts=layouts, buffer_octets=buffer_octets
            )
            self.foreign = ForeignCounter(found, run_id=run_id)
            self._sinks = open_sinks(interface, layouts)
            self.counters = InterfaceCounters(interface)

    def has_queued(self) -> bool:
        """Tell whether frames wait to be read."""
        return bool(select.select([self.arrivals], [], [], 0)[0])

    def close(self) -> None:
        """Give back sockets and files."""
        self.arrivals.close()
        self.foreign.close()
        for sink in self._sinks:
            sink.close()
        self.counters.close()


class SendingPort:
    """A port that test frames leave from."""

    def __init__(self, interface: str, namespace: Path | None) -> None:
        self._interface = interface
        with in_namespace(namespace), _explained(interface):
            self._socket = L2Socket(iface=_find_interface(interface), promisc=False, nofilter=1)
            attach_filter(self._socket.ins, RECEIVE_NOTHING)
            self.mtu = port_mtu(self._socket.ins, interface)

    def send(self, frame: bytes) -> None:
        """Hand a frame to the port.

        Raises:
            OSError: the port refuses it.
        """
        self._socket.send(frame)  # type: ignore[arg-type]  # scapy sends octets as they are

    def link_is_lost(self) -> bool:
        """Tell whether the far end of the cable is down."""
        return link_is_lost(self._socket.ins, self._interface)

    def close(self) -> None:
        """Give back the socket."""
        self._socket.close()


def _find_interface(name: str) -> NetworkInterface:
    # scapy's own list of interfaces is that of the namespace in which it was imported.
    index = socket.if_nametoindex(name)
    described = {"name": name, "network_name": name, "index": index}
    return NetworkInterface(LinuxInterfaceProvider(), described)


@contextmanager
def _explained(interface: str) -> Iterator[None]:
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


def _stamp_ns(ancillary: list[tuple[int, int, bytes]]) -> int:
    for level, kind, value in ancillary:
        if level == socket.SOL_SOCKET and kind == SO_TIMESTAMPNS:
            seconds, nanoseconds = struct.unpack("ll", value)
            return int(seconds) * NS_PER_S + int(nanoseconds)
    return time.time_ns()
