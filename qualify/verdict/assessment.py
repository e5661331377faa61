"""Everything that is said about one trial: each figure beside its budget and its verdict."""

from dataclasses import dataclass

from qualify.measure.figures import StreamFigures
from qualify.measure.observation import (
    DutObservation,
    NeighborHistory,
    Observation,
    RouteHistory,
)
from qualify.plan.stream import Stream
from qualify.plan.trial import TrialPlan
from qualify.verdict.verdict import Verdict


@dataclass(frozen=True, slots=True)
class StreamAssessment:
    """One stream; ``budget_ns`` is ``None`` where the case sets none."""

    stream: Stream
    figures: StreamFigures
    budget_ns: int | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class NeighborAssessment:
    """One session, its flaps and graceful restarts counted from the peer's side."""

    history: NeighborHistory
    flaps: int
    graceful_restarts: int
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class RouteAssessment:
    """Routes of one direction; how many of them lost a frame, and the worst outage's upper bound.

    ``routes_with_loss`` and ``worst_outage_ns`` are ``None`` when no frame was captured.
    """

    history: RouteHistory
    routes_with_loss: int | None
    worst_outage_ns: int | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class DutAssessment:
    """One device: does it run the release that it was upgraded to?"""

    observation: DutObservation
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class TrialAssessment:
    """One trial; ``steady`` speaks of the bench before the upgrade, ``verdict`` of the whole."""

    plan: TrialPlan
    observation: Observation
    steady: Verdict
    streams: tuple[StreamAssessment, ...]
    neighbors: tuple[NeighborAssessment, ...]
    routes: tuple[RouteAssessment, ...]
    duts: tuple[DutAssessment, ...]
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Decision:
    """The decision about a release: ``qualified``, ``not qualified`` or ``not proven``."""

    word: str
    reason: str
