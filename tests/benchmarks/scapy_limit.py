"""Measure what the scapy backend can do on this machine, through a bridge of the virtual lab.

Run by hand, as root, on a quiet machine::

    python -m tests.benchmarks.scapy_limit

First sender and receiver together, at rising rates, over four streams; then the receiver alone,
with frames from a plain socket. The limits in qualify.traffic.scapy_backend are the highest rates
without a lost or late frame, with a margin for a device and its daemons on the same machine.
"""

import socket
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from qualify.frames import number_frames
from qualify.plan.stream import Stream
from qualify.traffic import scapy_backend
from qualify.traffic.namespaces import in_namespace
from qualify.traffic.scapy_messages import Collect, Done, Received, ReceiveJob, Start
from qualify.traffic.scapy_process import WorkerProcess
from qualify.traffic.templates import build_templates
from qualify.units import NS_PER_MS, NS_PER_S
from tests.traffic.live_bridge import Bridge, bridge_lab, stream

SECONDS = 5
PAIRS = (("p1", "p2"), ("p2", "p1"), ("p3", "p4"), ("p4", "p3"))
TOGETHER_PPS = (1_200, 2_000, 4_000, 6_000, 8_000, 10_000)
ALONE_PPS = (4_000, 8_000, 12_000, 16_000, 24_000)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One measurement."""

    intended_pps: int
    sent: int
    lost: int
    tester_dropped: int | None
    latest_ms: float | None
    cpu_percent: tuple[float, ...]

    def __str__(self) -> str:
        late = "-" if self.latest_ms is None else f"{self.latest_ms:.1f}"
        cpu = " ".join(f"{each:.0f} %" for each in self.cpu_percent)
        return (
            f"{self.intended_pps:>8} {self.sent / SECONDS:>10.0f} {self.lost:>6} "
            f"{self.tester_dropped!s:>8} {late:>8}  {cpu}"
        )


def main() -> None:
    """Print one line for each measurement."""
    # The limit is what this script is there to find.
    scapy_backend.SENT_LIMIT_PPS = scapy_backend.RECEIVED_LIMIT_PPS = 1_000_000
    with bridge_lab() as bridge:
        show("sender and receiver together; CPU: sender, receiver", bridge, together, TOGETHER_PPS)
        show("receiver alone; CPU: receiver", bridge, alone, ALONE_PPS)


def show(
    title: str, bridge: Bridge, measure: Callable[[Bridge, int], Outcome], rates: tuple[int, ...]
) -> None:
    """Print a small table."""
    sys.stdout.write(f"\n{title}\nintended  sent/s      lost  dropped  late/ms\n")
    for rate_pps in rates:
        sys.stdout.write(f"{measure(bridge, rate_pps)}\n")
        sys.stdout.flush()


def streams_of(rate_pps: int) -> list[Stream]:
    """Share the rate between four streams."""
    return [
        stream(number, *pair, rate_pps=rate_pps // len(PAIRS)) for number, pair in enumerate(PAIRS)
    ]


def together(bridge: Bridge, rate_pps: int) -> Outcome:
    """Send and receive with the backend, as a trial does."""
    backend = scapy_backend.ScapyTraffic(bridge.site(inside=False))
    backend.open(streams_of(rate_pps), bridge.ports, run_id=1)
    workers = [worker for worker in (backend._sender, backend._receiver) if worker is not None]
    backend.start()
    before = [cpu_seconds(worker) for worker in workers]
    time.sleep(SECONDS)
    after = [cpu_seconds(worker) for worker in workers]
    backend.stop()
    time.sleep(0.5)
    captures = backend.collect()
    backend.close()
    drops = [capture.tester_dropped for capture in captures]
    stalls = [capture.longest_stall_ns or 0 for capture in captures]
    return Outcome(
        intended_pps=rate_pps,
        sent=sum(capture.transmission.sent_frames for capture in captures),
        lost=sum(
            capture.transmission.sent_frames - capture.arrivals.received for capture in captures
        ),
        tester_dropped=None if None in drops else max(drop or 0 for drop in drops),
        latest_ms=max(stalls) / NS_PER_MS,
        cpu_percent=percent(before, after),
    )


def alone(bridge: Bridge, rate_pps: int) -> Outcome:
    """Let one plain socket at p1 send to the receiver at p2."""
    flow = stream(0, "p1", "p2", rate_pps=rate_pps)
    templates = build_templates(flow, bridge.ports["p1"], run_id=1)
    frames = [frame.tobytes() for frame in number_frames(templates, first=0, count=rate_pps)]
    worker = WorkerProcess("receive", bridge.site(inside=False))
    job = ReceiveJob(
        interfaces=("p2",),
        namespaces=(namespace(bridge, "p2"),),
        streams=(0,),
        ports=(0,),
        headers=("ipv4",),
        vlans=((),),
        run_id=1,
        buffer_octets=16 * 1024 * 1024,
    )
    worker.ask(job, answer=Done)
    worker.ask(Start(), answer=Done)
    before = cpu_seconds(worker)
    send_plainly(bridge, frames, rate_pps)
    after = cpu_seconds(worker)
    said, arrays = worker.ask(Collect(), answer=Received)
    worker.close()
    return Outcome(
        intended_pps=rate_pps,
        sent=SECONDS * rate_pps,
        lost=SECONDS * rate_pps - len(arrays[0]),
        tester_dropped=said.socket_drops[0],
        latest_ms=None,
        cpu_percent=percent([before], [after]),
    )


def send_plainly(bridge: Bridge, frames: list[bytes], rate_pps: int) -> None:
    """Send the frames over and over, evenly, for SECONDS."""
    with in_namespace(bridge.ports["p1"].namespace):
        packets = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        packets.bind(("p1", 0))
    started_ns = time.monotonic_ns()
    for turn in range(SECONDS * rate_pps):
        due_ns = started_ns + turn * NS_PER_S // rate_pps
        while time.monotonic_ns() < due_ns:
            time.sleep(0.0005)
        packets.send(frames[turn % rate_pps])
    packets.close()


def namespace(bridge: Bridge, port: str) -> str | None:
    """Return the namespace of a port as a message carries it."""
    file: Path | None = bridge.ports[port].namespace
    return None if file is None else str(file)


def cpu_seconds(worker: WorkerProcess) -> float:
    """Return the processor time that a worker has used."""
    stat = Path(f"/proc/{worker.process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(stat[11]) + int(stat[12])) / 100


def percent(before: list[float], after: list[float]) -> tuple[float, ...]:
    """Return processor use in percent of one processor."""
    return tuple(100 * (new - old) / SECONDS for old, new in zip(before, after, strict=True))


if __name__ == "__main__":
    main()
