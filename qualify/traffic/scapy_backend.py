"""Backend ``scapy``: real frames at the low rates of a small lab, sent and received by scapy."""

import logging
from collections.abc import Iterable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path, PurePosixPath

import numpy as np

from qualify.errors import TrafficError
from qualify.measure.capture import Capture
from qualify.measure.kept_frames import KeptFrames, capture_frames
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.site import Site
from qualify.traffic.backend import PortAccess, StreamCount
from qualify.traffic.drop_doubts import Drop, doubt_drops
from qualify.traffic.scapy_messages import (
    Array,
    Collect,
    Done,
    Received,
    ReceiveJob,
    ReceiveProgress,
    SendJob,
    SendProgress,
    Sent,
    Start,
    Stop,
)
from qualify.traffic.scapy_process import WorkerProcess

# On two processors 10 000 frames per second were sent and 24 000 received without a loss. The rest
# is left to the device and its daemons, which share the machine in a virtual lab.
SENT_LIMIT_PPS = 4_000
RECEIVED_LIMIT_PPS = 4_000
RECEIVE_BUFFER_OCTETS = 16 * 1024 * 1024

_log = logging.getLogger(__name__)


class ScapyTraffic:
    """Sends and receives with scapy, one process for each, on ports in any namespace.

    A capture holds: as sent, every frame that the port took, and every frame that found no link
    at the far end (the device was down: its loss, not ours). As the tester's own drops: frames
    that the port refused or dropped while it had a link, frames that found the receive buffer
    full, frames that an interface or the machine dropped on the way to it. A drop that cannot be
    told to one stream counts for every stream that it may have touched.
    """

    def __init__(self, site: Site, *, receive_buffer_octets: int = RECEIVE_BUFFER_OCTETS) -> None:
        self._site = site
        self._receive_buffer_octets = receive_buffer_octets
        self._streams: tuple[Stream, ...] = ()
        self._ports: tuple[str, ...] = ()
        self._sender: WorkerProcess | None = None
        self._receiver: WorkerProcess | None = None
        self._started = False

    @property
    def limit(self) -> Limit:
        """What scapy sends and receives on a small machine, with a margin.

        Source:
            Measured by tests/benchmarks/scapy_limit.py.
        """
        return Limit(sent_pps=SENT_LIMIT_PPS, received_pps=RECEIVED_LIMIT_PPS)

    def open(
        self, streams: Sequence[Stream], ports: Mapping[str, PortAccess], *, run_id: int
    ) -> None:
        """Start the workers and let them open all ports; see TrafficBackend.

        Raises:
            TrafficError: too many frames per second, or a port cannot be used.
            PlanError: a frame size cannot be sent.
        """
        # scapy takes half a second to import; who only asks for the limit does not need it.
        from qualify.traffic.templates import build_templates  # noqa: PLC0415

        self._check(streams, ports)
        self.close()
        self._streams = tuple(streams)
        self._ports = tuple(ports)
        with ExitStack() as undo:
            undo.callback(self.close)
            self._receiver = WorkerProcess("receive", self._site)
            self._sender = WorkerProcess("send", self._site)
            templates = [
                build_templates(stream, ports[stream.sender], run_id=run_id) for stream in streams
            ]
            self._receiver.ask(self._receive_job(ports, run_id), answer=Done)
            arrays = [array for each in templates for array in (each.heads, each.fill)]
            self._sender.ask(self._send_job(ports), arrays, answer=Done)
            undo.pop_all()

    def start(self) -> None:
        """Start all streams; see TrafficBackend."""
        sender, receiver = self._workers()
        receiver.ask(Start(), answer=Done)
        sender.ask(Start(), answer=Done)
        self._started = True

    def counts(self) -> tuple[StreamCount, ...]:
        """Return counts at most a tenth of a second old; see TrafficBackend."""
        sender, receiver = self._workers(started=True)
        sent = sender.progress(SendProgress)
        received = receiver.progress(ReceiveProgress)
        return tuple(
            StreamCount(
                stream=stream.number,
                sent=sent.sent[at] if sent else 0,
                received=received.received[at] if received else 0,
                impaired_ns=received.impaired_ns[at] if received else None,
                last_received_ns=received.last_received_ns[at] if received else None,
            )
            for at, stream in enumerate(self._streams)
        )

    def stop(self) -> None:
        """Stop sending; see TrafficBackend."""
        sender, _ = self._workers(started=True)
        sender.ask(Stop(), answer=Done)

    def collect(self) -> tuple[Capture, ...]:
        """Wait until everything that arrived is read, and return it; see TrafficBackend."""
        sender, receiver = self._workers(started=True)
        received, arrived = receiver.ask(Collect(), answer=Received)
        sent, times = sender.ask(Collect(), answer=Sent)
        _tell_strays(received)
        return tuple(
            self._capture(at, sent, times[at], received, arrived[2 * at : 2 * at + 2])
            for at in range(len(self._streams))
        )

    def close(self) -> None:
        """End both workers; see TrafficBackend."""
        sender, receiver = self._sender, self._receiver
        self._sender = self._receiver = None
        self._started = False
        with ExitStack() as closing:
            for worker in (receiver, sender):
                if worker is not None:
                    closing.callback(worker.close)

    def _check(self, streams: Sequence[Stream], ports: Mapping[str, PortAccess]) -> None:
        load_pps = sum(stream.rate_pps for stream in streams)
        limit_pps = min(SENT_LIMIT_PPS, RECEIVED_LIMIT_PPS)
        if load_pps > limit_pps:
            raise TrafficError(
                f"the streams add up to {load_pps} frames per second, "
                f"scapy can do {limit_pps} on this machine",
                fix=f"lower offered_load_pps to {limit_pps // len(streams)} "
                "or less, or take another traffic backend",
            )
        used = {name for stream in streams for name in (stream.sender, stream.receiver)}
        for name in sorted(used - ports.keys()):
            raise TrafficError(
                f"there is no access to tester port {name}, which a stream uses",
                fix="describe the port under tester: ports: in the testbed",
            )

    def _workers(self, *, started: bool = False) -> tuple[WorkerProcess, WorkerProcess]:
        if self._sender is None or self._receiver is None:
            raise TrafficError("the traffic backend is not open", fix="call open() before this")
        if started and not self._started:
            raise TrafficError("the streams were not started", fix="call start() before this")
        return self._sender, self._receiver

    def _send_job(self, ports: Mapping[str, PortAccess]) -> SendJob:
        return SendJob(
            interfaces=tuple(port.interface for port in ports.values()),
            namespaces=self._namespaces(ports),
            ports=tuple(self._ports.index(stream.sender) for stream in self._streams),
            rates_pps=tuple(stream.rate_pps for stream in self._streams),
            headers=tuple(stream.layout.headers for stream in self._streams),
            vlans=tuple(stream.layout.vlans for stream in self._streams),
            sizes=tuple(stream.sizes for stream in self._streams),
        )

    def _receive_job(self, ports: Mapping[str, PortAccess], run_id: int) -> ReceiveJob:
        return ReceiveJob(
            interfaces=tuple(port.interface for port in ports.values()),
            namespaces=self._namespaces(ports),
            streams=tuple(stream.number for stream in self._streams),
            ports=tuple(self._ports.index(stream.receiver) for stream in self._streams),
            headers=tuple(stream.layout.headers for stream in self._streams),
            vlans=tuple(stream.layout.vlans for stream in self._streams),
            run_id=run_id,
            buffer_octets=self._receive_buffer_octets,
        )

    def _namespaces(self, ports: Mapping[str, PortAccess]) -> tuple[str | None, ...]:
        in_lab = self._site.lab is not None
        return tuple(
            None if port.namespace is None else str(_as_seen(port.namespace, in_lab=in_lab))
            for port in ports.values()
        )

    def _capture(
        self, at: int, sent: Sent, sent_ns: Array, received: Received, arrived: tuple[Array, ...]
    ) -> Capture:
        stream = self._streams[at]
        sender = self._ports.index(stream.sender)
        receiver = self._ports.index(stream.receiver)
        unsent = _without(received.send_drops[sender], sent.without_link[sender])
        drops = {
            Drop.REFUSED: sent.refused[at],
            Drop.SENDING: unsent,
            Drop.BUFFER: received.socket_drops[receiver],
            Drop.RECEIVING: received.receive_drops[receiver],
            Drop.BACKLOG: received.backlog_drops,
        }
        frames = KeptFrames(
            stream=stream.number,
            rate_pps=stream.rate_pps,
            destinations=len(stream.destinations),
            sent_ns=sent_ns.astype(np.int64),
            received=arrived[0].astype(np.int64),
            received_ns=arrived[1].astype(np.int64),
            tester_dropped=_sum_known(drops.values()),
            longest_stall_ns=sent.latest_ns[at],
            doubts=doubt_drops(drops),
        )
        return capture_frames(frames)


def _tell_strays(received: Received) -> None:
    if received.foreign:
        _log.warning("%d test frames of another run arrived; ignored", received.foreign)
    if received.misdelivered:
        # A switch floods until it has learned, so a few of these are no reason to worry.
        _log.info(
            "%d test frames arrived at a port that they were not sent to; "
            "they do not count as received",
            received.misdelivered,
        )


def _as_seen(namespace: Path, *, in_lab: bool) -> PurePosixPath:
    """Return where a worker finds a namespace: inside the lab, ``/proc/N/root`` is the root."""
    parts = namespace.parts
    if in_lab and len(parts) > 4 and parts[1] == "proc" and parts[3] == "root":  # noqa: PLR2004
        return PurePosixPath("/", *parts[4:])
    return PurePosixPath(namespace)


def _without(drops: int | None, without_link: int) -> int | None:
    """Take off the drops of a port that are no fault of the tester: its cable's far end is down."""
    return None if drops is None else max(0, drops - without_link)


def _sum_known(counts: Iterable[int | None]) -> int | None:
    """Add up; ``None`` as soon as one of them is not known."""
    total = 0
    for count in counts:
        if count is None:
            return None
        total += count
    return total
