"""A software image: what its manifest says about the release inside and how it upgrades."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path as FilePath

from qualify.testbed.testbed import PathKind


class UpgradeMethod(StrEnum):
    """How a virtual device changes its software.

    ``graceful`` restarts the routing software while the kernel keeps forwarding (RFC 3623,
    RFC 4724); ``cold`` stops forwarding and starts again from nothing.
    """

    GRACEFUL = "graceful"
    COLD = "cold"


@dataclass(frozen=True, slots=True)
class VirtualBehaviour:
    """How a virtual device upgrades to this image.

    ``kept_routes_s`` is how long the kernel routes of the old software are kept while the new one
    relearns them; a missing route shows only after that.
    """

    method: UpgradeMethod
    boot_s: float
    kept_routes_s: int


class SimulatedOutcome(StrEnum):
    """How a simulated upgrade ends."""

    UPGRADED = "upgraded"
    REFUSED = "refused"
    NEVER_BACK = "never-back"
    FELL_BACK = "fell-back"


@dataclass(frozen=True, slots=True)
class Interruption:
    """A time in which a simulated device forwards nothing, or not everything, of a path kind.

    ``after_ns`` counts from the activate command. Of ``every`` frames one is lost: 1 loses all.
    ``towards`` names the receiving side: ``None`` for both, else 0 or 1 as in the path's ports.
    """

    after_ns: int
    outage_ns: int
    every: int
    towards: int | None


@dataclass(frozen=True, slots=True)
class SimulatedNeighbors:
    """What the peers of a simulated device see: sessions lost, or restarted gracefully."""

    flaps: int
    graceful_restarts: int
    down_ns: int
    stays_down: bool


@dataclass(frozen=True, slots=True)
class SimulatedBehaviour:
    """The truth about a simulated upgrade, by kind of path; absent kinds are left untouched.

    ``routes_lost`` counts the routes of a path that are missing afterwards in each direction.
    """

    outcome: SimulatedOutcome
    upgrade_ns: int
    interruptions: Mapping[PathKind, tuple[Interruption, ...]]
    neighbors: Mapping[PathKind, SimulatedNeighbors]
    routes_lost: Mapping[PathKind, int]


@dataclass(frozen=True, slots=True)
class Image:
    """A release that a device can be upgraded to.

    ``payload`` is the file that the device would be given, ``sha256`` the sum that the manifest
    claims for it: the device compares the two before it touches anything.
    """

    name: str
    maker: str
    model: str
    train: str
    release: str
    driver: str
    payload: FilePath
    sha256: str
    behaviour: VirtualBehaviour | SimulatedBehaviour
    file: FilePath
