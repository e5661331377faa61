"""What every traffic backend can do, and what it is given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from qualify.measure.capture import Capture
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream


@dataclass(frozen=True, slots=True)
class PortAccess:
    """How to reach a tester port on this machine.

    Attributes:
        interface: name of the network interface.
        mac: its MAC address.
        gateway_mac: MAC address of the device port at the other end of the cable.
        namespace: file of the network namespace that holds the interface; ``None`` for the
            machine's own.
    """

    interface: str
    mac: str
    gateway_mac: str
    namespace: Path | None


@dataclass(frozen=True, slots=True)
class StreamCount:
    """A running count of one stream, good enough to steer by and never a figure.

    ``sent`` and ``received`` are ``None`` when nobody counts while the traffic runs.
    ``impaired_ns`` is when the receiver last saw a number missing, repeated or out of order;
    ``last_received_ns`` when anything arrived at all.
    """

    stream: int
    sent: int | None
    received: int | None
    impaired_ns: int | None
    last_received_ns: int | None

    @property
    def watched(self) -> bool:
        """Tell whether anybody counts while the traffic runs."""
        return self.received is not None


def total_sent(counts: Sequence[StreamCount]) -> int | None:
    """Add up what was sent on all streams; ``None`` when nobody counts while traffic runs."""
    known = [count.sent for count in counts if count.sent is not None]
    return sum(known) if len(known) == len(counts) else None


def total_received(counts: Sequence[StreamCount]) -> int | None:
    """Add up what arrived on all streams; ``None`` when nobody counts while traffic runs."""
    known = [count.received for count in counts if count.received is not None]
    return sum(known) if len(known) == len(counts) else None


class TrafficBackend(Protocol):
    """Sends numbered frames on tester ports and says which of them arrived.

    Found by the entry point group ``qualify.traffic``: a callable that takes the Site.
    Calls come in this order: open, start, counts (any number of times), stop, collect, close.
    ``close`` is safe at any time and more than once.
    """

    @property
    def limit(self) -> Limit:
        """What this backend can do here; the plan is refused beyond it."""
        ...

    def open(
        self, streams: Sequence[Stream], ports: Mapping[str, PortAccess], *, run_id: int
    ) -> None:
        """Get ready to send and receive; nothing leaves yet. ``run_id`` goes into every frame."""
        ...

    def start(self) -> None:
        """Start all streams, each at its rate."""
        ...

    def counts(self) -> tuple[StreamCount, ...]:
        """Return the running counts, one for each stream."""
        ...

    def stop(self) -> None:
        """Stop sending, within 100 ms; receivers go on."""
        ...

    def collect(self) -> tuple[Capture, ...]:
        """Stop receiving and return everything, one Capture for each stream."""
        ...

    def close(self) -> None:
        """Stop everything and give back sockets and workers."""
        ...
