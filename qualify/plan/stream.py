"""A stream: frames of one template at one rate, in one direction (RFC 4689)."""

from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address

from qualify.frames import PLAIN, Layout
from qualify.testbed.testbed import PathKind


@dataclass(frozen=True, slots=True)
class Destination:
    """One host or route that the stream visits.

    ``name`` is what a report calls it: a prefix or a MAC address. The addresses are those of the
    frame; ``None`` when it has no IP header. A MAC address of ``None`` is the tester port's own
    (source) or that of the device port (target): on a routed path the device is the first hop.
    """

    name: str
    source: IPv4Address | IPv6Address | None
    target: IPv4Address | IPv6Address | None
    source_mac: str | None
    target_mac: str | None


@dataclass(frozen=True, slots=True)
class Stream:
    """One stream of a trial.

    Frame number n goes to ``destinations[n % len(destinations)]`` and has the size
    ``sizes[n % len(sizes)]``. ``frame_octets`` is the first size; ``mix`` holds all of them in
    their order, and nothing when there is only one.
    """

    number: int
    path: str
    kind: PathKind
    sender: str
    receiver: str
    destinations: tuple[Destination, ...]
    rate_pps: int
    frame_octets: int
    layout: Layout = PLAIN
    mix: tuple[int, ...] = ()

    @property
    def sizes(self) -> tuple[int, ...]:
        """The frame sizes that follow one another."""
        return self.mix or (self.frame_octets,)

    @property
    def direction(self) -> str:
        """Sending and receiving tester port, ``p5>p6``."""
        return f"{self.sender}>{self.receiver}"
