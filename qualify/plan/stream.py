"""A stream: frames of one template at one rate, in one direction (RFC 4689)."""

from dataclasses import dataclass
from ipaddress import IPv4Address

from qualify.testbed.testbed import PathKind


@dataclass(frozen=True, slots=True)
class Destination:
    """One host or route that the stream visits.

    ``name`` is what a report calls it: a prefix or a MAC address. The addresses are those of the
    frame. A MAC address of ``None`` is the tester port's own (source) or that of the device port
    (target): on a routed path the device is the first hop.
    """

    name: str
    source: IPv4Address
    target: IPv4Address
    source_mac: str | None
    target_mac: str | None


@dataclass(frozen=True, slots=True)
class Stream:
    """One stream of a trial. Frame number n goes to ``destinations[n % len(destinations)]``."""

    number: int
    path: str
    kind: PathKind
    sender: str
    receiver: str
    destinations: tuple[Destination, ...]
    rate_pps: int
    frame_octets: int

    @property
    def direction(self) -> str:
        """Sending and receiving tester port, ``p5>p6``."""
        return f"{self.sender}>{self.receiver}"
