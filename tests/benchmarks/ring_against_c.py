"""Compare the backend ``ring`` with plain C programs that do the same, in one run.

Run by hand, as root, on a quiet machine with a C compiler::

    python -m tests.benchmarks.ring_against_c [SECONDS]

Frames of 64 octets go through a device of the virtual lab, once as a bridge and once as a router,
as fast as each sender can. Every figure stands beside that of the C programs of the same turn,
because figures of different turns differ by more than what is measured here. To be held: 0 lost,
one stream at least 0.90 of C, twelve streams on six ports at least 0.75 of C, and 50 times the
backend ``scapy``.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

from qualify.clock import RealClock
from qualify.frames import Templates, our_frame_filter, pack_filter
from qualify.lab.lab import Lab
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.site import Site
from qualify.testbed.testbed import Attachment, BenchKind, Port, Tester
from qualify.traffic.backend import PortAccess
from qualify.traffic.ring_backend import RingTraffic
from qualify.traffic.scapy_backend import SENT_LIMIT_PPS
from qualify.traffic.templates import build_templates
from tests.sample import TESTBED
from tests.traffic.live_bridge import stream

PAIRS = (("p1", "p2"), ("p2", "p1"), ("p3", "p4"), ("p4", "p3"), ("p5", "p6"), ("p6", "p5"))
ONE = [stream(0, "p1", "p2")]
TWELVE = [stream(number, *PAIRS[number % 6]) for number in range(12)]
TURNS = 9
TOO_MUCH_PPS = 2_000_000
RUN_ID = 0x0BE7C8
# The backend's workers have priority, so the C programs get it too: receivers before senders.
SENDER_PRIORITY = ("chrt", "-f", "1")
RECEIVER_PRIORITY = ("chrt", "-f", "2")

# The bridge knows where the hosts are: what it has to flood is another measurement.
BRIDGE = """
ip link add qbr type bridge; ip link set qbr up
for n in 1 2 3 4 5 6; do
  ip link set e$n master qbr
  for h in 0 1 2; do bridge fdb add 02:00:00:00:0$n:0$h dev e$n master static; done
done
"""
ROUTER = """
echo 1 > /proc/sys/net/ipv4/ip_forward
for n in 1 2 3 4 5 6; do
  ip address add 198.18.$n.1/24 dev e$n
  for h in 0 1 2; do ip neighbor add 198.18.$n.$((11 + h)) lladdr 02:00:00:00:0$n:0$h dev e$n; done
done
"""


@dataclass(frozen=True, slots=True)
class Rate:
    """What one sender reached."""

    pps: float
    lost: int

    def __str__(self) -> str:
        return f"{self.pps / 1000:6.0f} kpps, {self.lost} lost"


@dataclass(frozen=True, slots=True)
class Course:
    """The device in the middle, and how to send through it."""

    name: str
    lab: Lab
    ports: dict[str, PortAccess]
    routed: bool

    def streams(self, wanted: Sequence[Stream], rate_pps: int) -> list[Stream]:
        """Give the streams a rate; a routed one has the device as its first hop."""
        return [self._stream(each, rate_pps) for each in wanted]

    def _stream(self, wanted: Stream, rate_pps: int) -> Stream:
        hosts = tuple(
            replace(host, source_mac=None, target_mac=None) if self.routed else host
            for host in wanted.destinations
        )
        return replace(wanted, rate_pps=rate_pps, destinations=hosts)


def main(seconds: float) -> None:
    """Print a small table for each device."""
    with tempfile.TemporaryDirectory() as folder:
        programs = build_programs(Path(folder))
        for name, script in (("bridge", BRIDGE), ("router", ROUTER)):
            with course(name, script) as built:
                for wanted in (ONE, TWELVE):
                    compare(built, wanted, programs, seconds)


def build_programs(folder: Path) -> dict[str, Path]:
    """Compile the C programs into a folder."""
    programs = {}
    for name in ("sender", "receiver"):
        programs[name] = folder / name
        source = Path(__file__).parent / "c" / f"{name}.c"
        subprocess.run(["cc", "-O2", "-o", programs[name], source], check=True)
    return programs


@contextmanager
def course(name: str, script: str) -> Iterator[Course]:
    """Build a device with six ports, and prepare it."""
    ports = tuple(Port(f"p{n}", Attachment("d1", f"e{n}")) for n in range(1, 7))
    testbed = replace(
        TESTBED,
        name=f"limit-{os.getpid()}",
        kind=BenchKind.VIRTUAL,
        tester=Tester("ring", ports),
        paths=(),
    )
    with Lab(testbed) as lab:
        lab.namespace("d1").run("sh", "-ec", script)
        cables = {port.name: lab.port_access(port.name) for port in ports}
        access = {
            name: PortAccess(cable.interface, cable.mac, cable.gateway_mac, cable.namespace)
            for name, cable in cables.items()
        }
        yield Course(name, lab, access, routed=script is ROUTER)


def compare(
    built: Course, wanted: Sequence[Stream], programs: dict[str, Path], seconds: float
) -> None:
    """Print what C and the backend reach, turn by turn, and the middle one of all ratios."""
    say(f"\n{built.name}, {len(wanted)} stream{'s' * (len(wanted) > 1)}")
    ratios = []
    for _ in range(TURNS):
        alone = run_c(built, wanted, programs, seconds, receiving=False)
        both = run_c(built, wanted, programs, seconds, receiving=True)
        ours = run_ring(built, wanted, seconds)
        ratios.append(ours.pps / both.pps)
        say(
            f"  C alone {alone} | C and C {both} | ring {ours} | "
            f"ratio {ratios[-1]:.2f} | {ours.pps / SENT_LIMIT_PPS:.0f} x scapy"
        )
    say(f"  ratio in the middle: {median(ratios):.2f}")


def run_c(
    built: Course,
    wanted: Sequence[Stream],
    programs: dict[str, Path],
    seconds: float,
    *,
    receiving: bool,
) -> Rate:
    """Let the C programs send and receive: one stream on two processors, many on both."""
    streams = built.streams(wanted, TOO_MUCH_PPS)
    halves = [streams] if len(streams) == 1 else [streams[0::2], streams[1::2]]
    receivers = []
    if receiving:
        for processor, half in enumerate(halves):
            receivers.append(start_receiver(built, half, programs["receiver"], 1 - processor))
    senders = [
        start_sender(built, half, programs["sender"], processor, seconds)
        for processor, half in enumerate(halves)
    ]
    sent, pps = 0, 0.0
    for sender in senders:
        frames, _, took_ns = map(int, sender.communicate()[0].split())
        sent += frames
        pps += frames * 1e9 / took_ns
    arrived = [int(receiver.communicate()[0].split()[0]) for receiver in receivers]
    return Rate(pps, sent - sum(arrived) if receiving else 0)


def start_sender(
    built: Course, streams: Sequence[Stream], program: Path, processor: int, seconds: float
) -> "subprocess.Popen[bytes]":
    """Start a C sender for these streams."""
    arguments = []
    for each in streams:
        access = built.ports[each.sender]
        templates = build_templates(each, access, run_id=RUN_ID)
        places = (templates.layout.number_at, templates.layout.udp_checksum_at)
        frame = first_frame(templates).hex()
        arguments += [str(access.namespace), access.interface, frame, *map(str, places)]
    command = [*SENDER_PRIORITY, str(program), str(processor), str(seconds), *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE)


def first_frame(templates: Templates) -> bytes:
    """Return the first frame of a stream, with number 0 and time 0."""
    head: bytes = templates.heads[0, 0].tobytes()
    return head + templates.fill_behind(0).tobytes()


def start_receiver(
    built: Course, streams: Sequence[Stream], program: Path, processor: int
) -> "subprocess.Popen[bytes]":
    """Start a C receiver at the ports where these streams end."""
    layout = streams[0].layout
    arguments = []
    for name in dict.fromkeys(each.receiver for each in streams):
        arguments += [str(built.ports[name].namespace), built.ports[name].interface]
    code = pack_filter(our_frame_filter(RUN_ID, [layout])).hex()
    payload_at = str(layout.received.payload_at)
    command = [*RECEIVER_PRIORITY, str(program), str(processor), code, payload_at, *arguments]
    receiver = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert receiver.stdout is not None
    assert receiver.stdout.readline() == b"ready\n"
    return receiver


def run_ring(built: Course, wanted: Sequence[Stream], seconds: float) -> Rate:
    """Let the backend send more than it can."""
    site = Site(built.lab.testbed, RealClock(), None, None)
    backend = RingTraffic(site, limit=Limit(sent_pps=None, received_pps=None))
    streams = built.streams(wanted, TOO_MUCH_PPS // len(wanted))
    backend.open(streams, built.ports, run_id=RUN_ID)
    try:
        backend.start()
        time.sleep(seconds)
        backend.stop()
        result = backend.collect_result()
    finally:
        backend.close()
    sent = sum(each.sent for each in result.sent.values())
    received = sum(each.received for each in result.arrivals.values())
    times = [each.at_ns for each in result.transmissions.values()]
    took_ns = max(int(column[-1]) for column in times) - min(int(column[0]) for column in times)
    return Rate(sent * 1e9 / took_ns, sent - received)


def say(words: str) -> None:
    """Print a line at once."""
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 3.0)
