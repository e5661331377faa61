"""What the backend ``ring`` and its workers say to each other.

Ports and streams are named by their position in the lists that the backend was opened with.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PortJob:
    """A port that a worker serves; its MAC address must be the one that the backend was told."""

    position: int
    interface: str
    mac: str
    namespace: str | None


@dataclass(frozen=True, slots=True)
class SendJob:
    """A stream that leaves from a port of the worker; its heads and its fill follow as arrays."""

    position: int
    port: int
    rate_pps: int
    phase_ns: int
    headers: str
    vlans: tuple[int, ...]
    sizes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ReceiveJob:
    """A stream that arrives at a port of the worker; ``number`` is in its frames."""

    position: int
    port: int
    number: int
    headers: str
    vlans: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Job:
    """The share of one worker; the arrays of ``senders`` follow, two for each.

    ``naps`` tells that nobody else has to work on these processors, see Sleeper.
    """

    processor: int
    run_id: int
    ring_octets: int
    naps: bool
    ports: tuple[PortJob, ...]
    senders: tuple[SendJob, ...]
    receivers: tuple[ReceiveJob, ...]


@dataclass(frozen=True, slots=True)
class Start:
    """Begin to count, and to send at that time of CLOCK_MONOTONIC."""

    at_ns: int


@dataclass(frozen=True, slots=True)
class Stop:
    """Send no more."""


@dataclass(frozen=True, slots=True)
class Collect:
    """Hand over the next piece of the result; the first time, read before what has arrived.

    Streams come before ports; the worker's own account is the last piece.
    """


@dataclass(frozen=True, slots=True)
class Done:
    """The order before this was carried out."""


@dataclass(frozen=True, slots=True)
class Progress:
    """Running counts: ``sent`` by sender; the rest by receiver, see StreamCount."""

    sent: tuple[int, ...]
    received: tuple[int, ...]
    impaired_ns: tuple[int | None, ...]
    last_received_ns: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class SentBatches:
    """A part of the batches of the stream that is described next.

    Two arrays follow: first numbers and times.
    """


@dataclass(frozen=True, slots=True)
class SentStream:
    """A stream that was sent.

    ``refused`` turns found the port unwilling: their frames were never offered to the device.
    ``late`` calls were more than ``STALL_NS`` and an interval behind the schedule; ``skipped``
    turns were too late to be made up for.
    """

    position: int
    sent: int
    refused: int
    skipped: int
    late: int
    latest_ns: int
    latest_at_ns: int | None


@dataclass(frozen=True, slots=True)
class ReceivedStream:
    """A stream that was received; the arrays of its Arrivals follow.

    ``numbers`` are all other fields of Arrivals, in their order.
    """

    position: int
    numbers: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class PortAccount:
    """What got lost at a port, or could have; ``None`` where a counter could not be read.

    ``ring_drops`` found the ring full. ``send_drops`` are without those that happened while the
    far end of the cable was down: these are the device's. ``was_off``: somebody switched the port
    itself off for a while.
    """

    position: int
    ring_drops: int
    receive_drops: int | None
    send_drops: int | None
    foreign: int
    misdelivered: int
    was_off: bool


@dataclass(frozen=True, slots=True)
class WorkerAccount:
    """What concerns everything that the worker did.

    ``clock_step_ns`` is the largest jump of CLOCK_REALTIME against CLOCK_MONOTONIC, with its sign;
    0 for none. ``receive_cpu_ns`` was spent on reading and analysing, ``cpu_ns`` altogether.
    """

    backlog_drops: int | None
    clock_step_ns: int
    has_priority: bool
    cpu_ns: int
    receive_cpu_ns: int
    resident_octets: int


@dataclass(frozen=True, slots=True)
class Failed:
    """The worker cannot go on."""

    problem: str
    fix: str


Message = (
    Job
    | PortJob
    | SendJob
    | ReceiveJob
    | Start
    | Stop
    | Collect
    | Done
    | Progress
    | SentBatches
    | SentStream
    | ReceivedStream
    | PortAccount
    | WorkerAccount
    | Failed
)
KINDS: dict[str, type[Message]] = {kind.__name__: kind for kind in Message.__args__}
# The kind of the objects in a field of another message.
KINDS |= {"ports": PortJob, "senders": SendJob, "receivers": ReceiveJob}
