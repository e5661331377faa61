"""What the bench saw during one trial, before anybody turns it into a figure."""

from dataclasses import dataclass
from enum import StrEnum

from qualify.measure.capture import Capture


@dataclass(frozen=True, slots=True)
class PhaseSpan:
    """One phase of a trial (check, steady, install, activate, …) and when it ran."""

    name: str
    start_ns: int
    end_ns: int


class NeighborChange(StrEnum):
    """What a peer saw of its session with the device.

    RESTARTING and RESTARTED are the beginning and the end of a graceful restart in which the
    peer helped (RFC 3623, RFC 4724): routes were kept, so it is no flap.
    """

    UP = "up"
    DOWN = "down"
    RESTARTING = "restarting"
    RESTARTED = "restarted"


@dataclass(frozen=True, slots=True)
class NeighborEvent:
    """One change, its time on the tester's clock, and the peer's own words for it."""

    at_ns: int
    change: NeighborChange
    words: str


@dataclass(frozen=True, slots=True)
class NeighborHistory:
    """One session between a peer of the tester and the device, from the peer's side.

    ``before`` and ``after`` are the protocol's own state names (``Full``, ``Established``), or
    ``None`` when the peer could not tell. ``up_state`` is the name that means "in service".
    """

    path: str
    observer: str
    protocol: str
    up_state: str
    hold_ns: int | None
    before: str | None
    after: str | None
    events: tuple[NeighborEvent, ...]


@dataclass(frozen=True, slots=True)
class RouteHistory:
    """Routes that serve one direction of a path.

    ``advertised`` routes stand behind the receiving port; the others count how many of them the
    peer at the sending port had learned through the device. ``None``: could not be read.
    """

    path: str
    direction: str
    advertised: int
    before: int | None
    lowest: int | None
    after: int | None


@dataclass(frozen=True, slots=True)
class PortCount:
    """Test frames that a device port received and sent, as the device's own kernel counted them."""

    port: str
    received: int
    sent: int


@dataclass(frozen=True, slots=True)
class DutObservation:
    """One device under test before and after.

    ``activated_ns`` is when the activate command was given, ``None`` when it never was.
    ``upgrade_ns`` runs from the activate command to the moment the device says that it is done;
    ``None`` when it never did. ``problem`` is the device's own explanation, empty when none.
    ``ports`` is evidence for checking the instrument, never an input to a figure; empty when the
    device cannot count test frames apart.
    """

    name: str
    tier: int
    release_before: str | None
    release_after: str | None
    upgrade_ns: int | None
    problem: str
    ports: tuple[PortCount, ...]
    activated_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Observation:
    """One trial as it was seen; ``problem`` is set when the bench broke off, else empty."""

    phases: tuple[PhaseSpan, ...]
    captures: tuple[Capture, ...]
    neighbors: tuple[NeighborHistory, ...]
    routes: tuple[RouteHistory, ...]
    duts: tuple[DutObservation, ...]
    problem: str
