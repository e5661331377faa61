"""A testbed: what the file describes, before anything is opened."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path as FilePath


class BenchKind(StrEnum):
    """Where the devices under test are."""

    SIMULATED = "simulated"
    VIRTUAL = "virtual"


class PathKind(StrEnum):
    """What carries a path through the devices: switching, an interior or an exterior protocol."""

    L2 = "l2"
    IGP = "igp"
    EGP = "egp"


class Headers(StrEnum):
    """What stands between the Ethernet header (and its VLAN tags) and the test payload.

    ``ethernet`` is nothing: the payload follows at once, under an experimental EtherType.
    """

    ETHERNET = "ethernet"
    IPV4 = "ipv4"
    IPV6 = "ipv6"


@dataclass(frozen=True, slots=True)
class Attachment:
    """One port of one device under test, written ``d1/e1``."""

    dut: str
    port: str

    def __str__(self) -> str:
        return f"{self.dut}/{self.port}"


@dataclass(frozen=True, slots=True)
class Port:
    """A tester port and the device port that it is cabled to."""

    name: str
    attach: Attachment


class Column(StrEnum):
    """What a generator that somebody already owns can tell about a stream."""

    STREAM = "stream"
    SENT = "sent"
    RECEIVED = "received"
    LOST = "lost"
    DUPLICATE = "duplicate"
    REORDERED = "reordered"
    LOSS_PERIODS = "loss_periods"
    TESTER_DROPPED = "tester_dropped"
    LONGEST_STALL_MS = "longest_stall_ms"


@dataclass(frozen=True, slots=True)
class CountersFile:
    """A file of counts, and what its columns are called; columns without a name are not there."""

    file: FilePath
    columns: Mapping[Column, str]


@dataclass(frozen=True, slots=True)
class Tester:
    """The tester: the name of its traffic backend, and its ports in the order of the file.

    ``counters`` is where the counts of another generator come from; only for that backend.
    """

    __test__ = False

    traffic: str
    ports: tuple[Port, ...]
    counters: CountersFile | None = None


@dataclass(frozen=True, slots=True)
class Dut:
    """A device under test: its tier, its driver, and the release that it starts from."""

    name: str
    tier: int
    driver: str
    release: str


@dataclass(frozen=True, slots=True)
class Link:
    """A cable between two devices under test."""

    a: Attachment
    b: Attachment


@dataclass(frozen=True, slots=True)
class Path:
    """Traffic between two tester ports over one kind of forwarding.

    ``hosts`` (L2) counts the hosts on each side; ``routes`` (IGP, EGP) counts all routes of the
    path, half of them behind each port. ``headers`` and ``vlans`` (L2) are those of every test
    frame; ``vlans`` are the VLAN ids of its tags, the outer one first.
    """

    name: str
    kind: PathKind
    protocol: str | None
    ports: tuple[str, str]
    hosts: int | None
    routes: int | None
    headers: Headers = Headers.IPV4
    vlans: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Testbed:
    """Everything a testbed file says; ``images`` is the folder of the software images."""

    __test__ = False

    name: str
    kind: BenchKind
    tester: Tester
    duts: tuple[Dut, ...]
    links: tuple[Link, ...]
    paths: tuple[Path, ...]
    images: FilePath
    file: FilePath
    sha256: str

    @property
    def tiers(self) -> int:
        """The number of different tiers."""
        return len({dut.tier for dut in self.duts})

    def path(self, name: str) -> Path:
        """Return the path of that name; the reader has checked that it is there."""
        return next(path for path in self.paths if path.name == name)

    def port(self, name: str) -> Port:
        """Return the tester port of that name."""
        return next(port for port in self.tester.ports if port.name == name)

    def dut(self, name: str) -> Dut:
        """Return the device under test of that name."""
        return next(dut for dut in self.duts if dut.name == name)
