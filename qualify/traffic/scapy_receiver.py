"""The worker that receives: scapy sniffs all ports, numbers and times are kept, no packets."""

import time
from array import array
from contextlib import ExitStack
from pathlib import Path
from threading import Event

import numpy as np
from scapy.sendrecv import AsyncSniffer

from qualify.errors import TrafficError
from qualify.traffic.drops import InterfaceDrops, read_backlog_drops, rise
from qualify.traffic.packet_sockets import read_statistics
from qualify.traffic.scapy_channel import Channel
from qualify.traffic.scapy_messages import (
    Array,
    Collect,
    Done,
    Received,
    ReceiveJob,
    ReceiveProgress,
    Start,
    read_layouts,
)
from qualify.traffic.scapy_sockets import Arrival, ListeningPort

REPORT_EVERY_S = 0.1
DRAIN_TIMEOUT_S = 20.0
DRAIN_LOOK_S = 0.02
SNIFFER_TIMEOUT_S = 5.0


class ReceivedStream:
    """What arrived of one stream, in order of arrival."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.numbers = array("q")
        self.times_ns = array("q")
        self.impaired_ns: int | None = None
        self._expected = 0

    def take(self, number: int, received_ns: int) -> None:
        """Note a number; one that is not the next was missing, repeated or out of order."""
        self.numbers.append(number)
        self.times_ns.append(received_ns)
        if number != self._expected:
            self.impaired_ns = received_ns
        if number >= self._expected:
            self._expected = number + 1

    @property
    def last_received_ns(self) -> int | None:
        """When the last frame arrived."""
        return self.times_ns[-1] if self.times_ns else None


class Reception:
    """Sorts arrivals by stream; a frame at another port than its stream's is not delivered.

    Source:
        RFC 2285 §3.8.3: flooded frames must not count as received.
    """

    def __init__(self, streams: dict[int, ReceivedStream]) -> None:
        self.streams = streams
        self.misdelivered = 0
        self.arrived = 0

    def take(self, arrival: Arrival) -> None:
        """Note one arrival."""
        self.arrived += 1
        stream = self.streams.get(arrival.stream)
        if stream is None or stream.port != arrival.sniffed_on:
            self.misdelivered += 1
        else:
            stream.take(arrival.number, arrival.received_ns)

    def progress(self) -> ReceiveProgress:
        """Return the running counts."""
        streams = self.streams.values()
        return ReceiveProgress(
            received=tuple(len(stream.times_ns) for stream in streams),
            impaired_ns=tuple(stream.impaired_ns for stream in streams),
            last_received_ns=tuple(stream.last_received_ns for stream in streams),
        )


class DropWatch:
    """The tester's own drops at the ports, from when it is made until it is read."""

    def __init__(self, ports: list[ListeningPort]) -> None:
        self._ports = ports
        for port in ports:
            read_statistics(port.arrivals.ins)
            port.foreign.read()
        self._before = self._interfaces()
        self._backlog_before = read_backlog_drops()

    def account(self, *, misdelivered: int) -> Received:
        """Return all drops; ``None`` for a counter that could not be read."""
        pairs = list(zip(self._before, self._interfaces(), strict=True))
        return Received(
            socket_drops=tuple(read_statistics(port.arrivals.ins)[1] for port in self._ports),
            receive_drops=tuple(
                None if before is None or after is None else after.received - before.received
                for before, after in pairs
            ),
            send_drops=tuple(
                None if before is None or after is None else after.sent - before.sent
                for before, after in pairs
            ),
            backlog_drops=rise(self._backlog_before, read_backlog_drops()),
            foreign=sum(port.foreign.read() for port in self._ports),
            misdelivered=misdelivered,
        )

    def _interfaces(self) -> list[InterfaceDrops | None]:
        return [port.counters.read() for port in self._ports]


def run_receiver(channel: Channel) -> None:
    """Carry out one ReceiveJob, until the owner closes the pipe.

    Raises:
        TrafficError: a port cannot be used, or failed while frames arrived.
    """
    job, _ = channel.expect(ReceiveJob)
    reception = Reception(
        {stream: ReceivedStream(port) for stream, port in zip(job.streams, job.ports, strict=True)}
    )
    with ExitStack() as stack:
        ports = _open_ports(job, stack)
        sniffer = _start_sniffer(ports, reception)
        stack.callback(_end_sniffer, sniffer)
        channel.tell(Done())
        channel.expect(Start)
        drops = DropWatch(ports)
        channel.tell(Done())
        while not channel.has_message(REPORT_EVERY_S):
            _check_alive(sniffer, ports)
            channel.tell(reception.progress())
        channel.expect(Collect)
        _drain(reception, ports)
        _check_alive(sniffer, ports)
        _end_sniffer(sniffer)
        account = drops.account(misdelivered=reception.misdelivered)
        channel.tell(account, _numbers_and_times(reception))
        channel.await_end()


def _open_ports(job: ReceiveJob, stack: ExitStack) -> list[ListeningPort]:
    ports = []
    for interface, namespace in zip(job.interfaces, job.namespaces, strict=True):
        port = ListeningPort(
            interface,
            None if namespace is None else Path(namespace),
            run_id=job.run_id,
            layouts=read_layouts(job),
            buffer_octets=job.buffer_octets,
        )
        stack.callback(port.close)
        ports.append(port)
    return ports


def _start_sniffer(ports: list[ListeningPort], reception: Reception) -> AsyncSniffer:
    labelled = {port.arrivals: position for position, port in enumerate(ports)}
    started = Event()
    sniffer = AsyncSniffer(
        opened_socket=labelled, store=False, prn=reception.take, started_callback=started.set
    )
    sniffer.start()
    if not started.wait(SNIFFER_TIMEOUT_S):
        raise TrafficError(
            "scapy did not start listening",
            fix="look at the load of this machine and try again",
        )
    return sniffer


def _end_sniffer(sniffer: AsyncSniffer) -> None:
    if sniffer.running:
        sniffer.stop(join=False)
        sniffer.join(SNIFFER_TIMEOUT_S)


def _check_alive(sniffer: AsyncSniffer, ports: list[ListeningPort]) -> None:
    """See that scapy still listens: it closes a socket that failed and goes on without it."""
    if sniffer.exception is not None or any(port.arrivals.closed for port in ports):
        raise TrafficError(
            "scapy stopped listening on a tester port",
            fix="see what it wrote above, and check that all tester ports are still there",
        )


def _drain(reception: Reception, ports: list[ListeningPort]) -> None:
    """Wait until everything that is queued has been read: what is left would count as lost."""
    deadline = time.monotonic() + DRAIN_TIMEOUT_S
    arrived = -1
    while arrived != reception.arrived or any(port.has_queued() for port in ports):
        if time.monotonic() > deadline:
            raise TrafficError(
                f"the receiver did not catch up within {DRAIN_TIMEOUT_S:g} s",
                fix="send less, or give the tester more processor time",
            )
        arrived = reception.arrived
        time.sleep(DRAIN_LOOK_S)


def _numbers_and_times(reception: Reception) -> list[Array]:
    return [
        np.array(column, dtype=np.int64)
        for stream in reception.streams.values()
        for column in (stream.numbers, stream.times_ns)
    ]
