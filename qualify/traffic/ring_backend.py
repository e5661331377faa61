"""Backend ``ring``: frames at the kernel's own limit, by sendmmsg out and TPACKET_V3 in."""

import logging
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import PurePath

from qualify.errors import TrafficError
from qualify.measure.capture import Capture
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.site import Site
from qualify.traffic.backend import PortAccess, StreamCount
from qualify.traffic.namespaces import as_seen_inside
from qualify.traffic.ring_capture import make_captures, tell_strays
from qualify.traffic.ring_limit import UNMEASURED
from qualify.traffic.ring_messages import (
    Done,
    Job,
    Message,
    PortJob,
    Progress,
    ReceiveJob,
    SendJob,
    Start,
    Stop,
)
from qualify.traffic.ring_pipe import Array
from qualify.traffic.ring_process import WorkerProcess
from qualify.traffic.ring_result import Result
from qualify.traffic.ring_share import share_ports
from qualify.units import NS_PER_MS, NS_PER_S

RING_OCTETS = 16 * 1024 * 1024
ALL_RINGS_OCTETS = 96 * 1024 * 1024
HEAD_START_NS = 20 * NS_PER_MS

_log = logging.getLogger(__name__)


class RingTraffic:
    """Sends and receives on ports in any namespace, with one worker for each processor.

    A capture holds: as sent, every frame that the port took, and every frame that found no link
    at the far end (the device was down: its loss, not ours). Everything that the tester itself
    lost, refused or delayed is attributed to the streams that it can have touched.

    Args:
        site: where the bench stands.
        limit: what may be asked for; the measured limit of this machine where there is one.
        ring_octets: memory for what arrives at one port; less when ports are many.
        processors: which ones to work on; ``None`` for all that this process may use.
    """

    def __init__(
        self,
        site: Site,
        *,
        limit: Limit = UNMEASURED,
        ring_octets: int = RING_OCTETS,
        processors: Sequence[int] | None = None,
    ) -> None:
        self._site = site
        self._limit = limit
        self._ring_octets = ring_octets
        self._processors = sorted(processors or os.sched_getaffinity(0))
        self._streams: tuple[Stream, ...] = ()
        self._workers: list[WorkerProcess] = []
        self._started = False

    @property
    def limit(self) -> Limit:
        """What may be asked of this machine."""
        return self._limit

    def open(
        self, streams: Sequence[Stream], ports: Mapping[str, PortAccess], *, run_id: int
    ) -> None:
        """Start the workers and let them open their ports; see TrafficBackend.

        Raises:
            TrafficError: too many frames per second, or a port cannot be used.
            PlanError: a frame size cannot be sent.
        """
        self._check(streams, ports)
        self.close()
        self._streams = tuple(streams)
        shares = share_ports(streams, workers=len(self._processors))
        with ExitStack() as undo:
            undo.callback(self.close)
            self._workers = [WorkerProcess(share, self._site) for share in shares]
            for worker, processor in zip(self._workers, self._processors, strict=False):
                job = self._job(worker.ports, ports, run_id=run_id, processor=processor)
                worker.tell(job, self._templates(job, ports, run_id))
            self._await_done()
            undo.pop_all()

    def start(self) -> None:
        """Start all streams at the same moment; see TrafficBackend."""
        self._check_open()
        self._tell_all(Start(time.monotonic_ns() + HEAD_START_NS))
        self._started = True

    def counts(self) -> tuple[StreamCount, ...]:
        """Return counts at most a tenth of a second old; see TrafficBackend."""
        self._check_open(started=True)
        sent: dict[int, int] = {}
        received: dict[int, tuple[int, int | None, int | None]] = {}
        for worker in self._workers:
            progress = worker.progress() or Progress((), (), (), ())
            sent |= zip(self._leaving(worker.ports), progress.sent, strict=False)
            columns = (progress.received, progress.impaired_ns, progress.last_received_ns)
            arriving = self._arriving(worker.ports)
            received |= zip(arriving, zip(*columns, strict=True), strict=False)
        return tuple(
            StreamCount(stream.number, sent.get(at, 0), *received.get(at, (0, None, None)))
            for at, stream in enumerate(self._streams)
        )

    def stop(self) -> None:
        """Stop sending; see TrafficBackend."""
        self._check_open(started=True)
        self._tell_all(Stop())

    def collect(self) -> tuple[Capture, ...]:
        """Wait until everything that arrived is read, and return it; see TrafficBackend."""
        self._check_open(started=True)
        result = self.collect_result()
        tell_strays(result)
        return make_captures(self._streams, self._port_positions(), result)

    def collect_result(self) -> Result:
        """Do the same, and return what the workers say of themselves as well."""
        result = Result()
        for worker in self._workers:
            result.take(worker.collect())
        return result

    def close(self) -> None:
        """End all workers; see TrafficBackend."""
        workers, self._workers = self._workers, []
        self._started = False
        with ExitStack() as closing:
            for worker in workers:
                closing.callback(worker.close)
            for worker in workers:
                worker.hang_up()

    def _check(self, streams: Sequence[Stream], ports: Mapping[str, PortAccess]) -> None:
        load_pps = sum(stream.rate_pps for stream in streams)
        for limit_pps in (self._limit.sent_pps, self._limit.received_pps):
            if limit_pps is not None and load_pps > limit_pps:
                raise TrafficError(
                    f"the streams add up to {load_pps} frames per second, "
                    f"this machine is known to do {limit_pps}",
                    fix=f"lower offered_load_pps to {limit_pps // len(streams)} or less, "
                    "or let `qualify measure` find out what this machine can do",
                )
        used = {name for stream in streams for name in (stream.sender, stream.receiver)}
        for name in sorted(used - ports.keys()):
            raise TrafficError(
                f"there is no access to tester port {name}, which a stream uses",
                fix="describe the port under tester: ports: in the testbed",
            )

    def _check_open(self, *, started: bool = False) -> None:
        if not self._workers:
            raise TrafficError("the traffic backend is not open", fix="call open() before this")
        if started and not self._started:
            raise TrafficError("the streams were not started", fix="call start() before this")

    def _tell_all(self, message: Message) -> None:
        for worker in self._workers:
            worker.tell(message)
        self._await_done()

    def _await_done(self) -> None:
        for worker in self._workers:
            answer, _ = worker.answer()
            assert isinstance(answer, Done), f"{answer} instead of Done"

    def _port_positions(self) -> dict[str, int]:
        names = [name for stream in self._streams for name in (stream.sender, stream.receiver)]
        return {name: position for position, name in enumerate(dict.fromkeys(names))}

    def _leaving(self, share: Sequence[str]) -> Iterator[int]:
        return (at for at, stream in enumerate(self._streams) if stream.sender in share)

    def _arriving(self, share: Sequence[str]) -> Iterator[int]:
        return (at for at, stream in enumerate(self._streams) if stream.receiver in share)

    def _job(
        self,
        share: Sequence[str],
        ports: Mapping[str, PortAccess],
        *,
        run_id: int,
        processor: int,
    ) -> Job:
        positions = self._port_positions()
        return Job(
            processor=processor,
            run_id=run_id,
            ring_octets=min(self._ring_octets, ALL_RINGS_OCTETS // len(share)),
            # In the virtual lab the device lives on the same processors.
            naps=self._site.lab is None,
            ports=tuple(self._port_job(positions[name], ports[name]) for name in share),
            senders=tuple(self._send_job(at, positions) for at in self._leaving(share)),
            receivers=tuple(self._receive_job(at, positions) for at in self._arriving(share)),
        )

    def _port_job(self, position: int, access: PortAccess) -> PortJob:
        namespace: PurePath | None = access.namespace
        if access.namespace is not None and self._site.lab is not None:
            namespace = as_seen_inside(access.namespace)
        file = None if namespace is None else str(namespace)
        return PortJob(position, access.interface, access.mac, file)

    def _send_job(self, at: int, positions: Mapping[str, int]) -> SendJob:
        stream = self._streams[at]
        return SendJob(
            position=at,
            port=positions[stream.sender],
            rate_pps=stream.rate_pps,
            # The starts of n streams lie 1/n of an interval apart: equal ones interleave evenly.
            phase_ns=at * NS_PER_S // (stream.rate_pps * len(self._streams)),
            headers=stream.layout.headers,
            vlans=stream.layout.vlans,
            sizes=stream.sizes,
        )

    def _receive_job(self, at: int, positions: Mapping[str, int]) -> ReceiveJob:
        stream = self._streams[at]
        return ReceiveJob(
            position=at,
            port=positions[stream.receiver],
            number=stream.number,
            headers=stream.layout.headers,
            vlans=stream.layout.vlans,
        )

    def _templates(self, job: Job, ports: Mapping[str, PortAccess], run_id: int) -> list[Array]:
        # scapy takes half a second to import; who only asks for the limit does not need it.
        from qualify.traffic.templates import build_templates  # noqa: PLC0415

        arrays: list[Array] = []
        for each in job.senders:
            stream = self._streams[each.position]
            templates = build_templates(stream, ports[stream.sender], run_id=run_id)
            arrays += [templates.heads, templates.fill]
        return arrays
