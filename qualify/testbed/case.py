"""A case: one question to a release, as its file asks it."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path as FilePath


class Order(StrEnum):
    """How several devices are upgraded: all at once, or the next when the last has recovered."""

    SIMULTANEOUS = "simultaneous"
    ROLLING = "rolling"


@dataclass(frozen=True, slots=True)
class StreamSpec:
    """The intended load of every stream of the case, and its frame sizes from MAC to FCS.

    ``frame_octets`` is the first size; ``mix`` holds all of them in the order in which they follow
    one another, and nothing when there is only one.
    """

    offered_load_pps: int
    frame_octets: int
    mix: tuple[int, ...] = ()

    @property
    def sizes(self) -> tuple[int, ...]:
        """The frame sizes that follow one another."""
        return self.mix or (self.frame_octets,)


@dataclass(frozen=True, slots=True)
class PathBudget:
    """What a path may lose: the outage allowed in each direction."""

    outage_ns: int


@dataclass(frozen=True, slots=True)
class NeighborBudget:
    """How often a neighbor may leave the up state, and whether a graceful restart is a flap."""

    flaps: int
    graceful_restarts_allowed: bool


@dataclass(frozen=True, slots=True)
class RouteBudget:
    """How many routes of a path may be missing afterwards, in each direction."""

    lost: int


@dataclass(frozen=True, slots=True)
class Case:
    """Everything a case file says; budgets are by the name of the path."""

    name: str
    paths: tuple[str, ...]
    tiers: int
    order: Order
    trials: int
    stream: StreamSpec
    budgets: Mapping[str, PathBudget]
    neighbors: NeighborBudget
    routes: RouteBudget
    file: FilePath
    sha256: str
