"""Geometry of the two pictures: an outage against its budget, and the phases of a trial.

Positions are whole units of a drawing that is ``FULL`` units wide; the templates put ink on them.
"""

from dataclasses import dataclass

from qualify.record.model import PhaseRecord, StreamRecord, TrialRecord

FULL = 240
_THINNEST = 3
_ARROW = 10


@dataclass(frozen=True, slots=True)
class OutageBar:
    """An outage between its bounds, on a scale of twice the budget.

    ``budget`` is ``None`` when the case sets none; ``beyond`` says that the upper bound lies off
    the scale, or is not known.
    """

    low: int
    width: int
    budget: int | None
    beyond: bool


@dataclass(frozen=True, slots=True)
class PhaseBar:
    """A phase on the scale of its trial, with the places where loss began while it ran."""

    name: str
    duration_ns: int
    start: int
    width: int
    losses: tuple[int, ...]


def draw_outage(stream: StreamRecord) -> OutageBar:
    """Draw the interval between the bounds; it never vanishes, however narrow it is."""
    budget_ns = stream.budget_ns
    scale_ns = 2 * budget_ns if budget_ns else max(1, stream.outage_high_ns)
    beyond = stream.outage_high_ns > scale_ns or bool(stream.reaches_edge)
    low = min(stream.outage_low_ns * FULL // scale_ns, FULL - (_ARROW if beyond else _THINNEST))
    high = FULL if beyond else -(-stream.outage_high_ns * FULL // scale_ns)
    return OutageBar(
        low=low,
        width=max(_THINNEST, high - low),
        budget=FULL // 2 if budget_ns else None,
        beyond=beyond,
    )


def draw_phases(trial: TrialRecord) -> tuple[PhaseBar, ...]:
    """Draw the phases of a trial one below the other, from its first moment to its last."""
    if not trial.phases:
        return ()
    start_ns = min(phase.start_ns for phase in trial.phases)
    scale_ns = max(1, max(phase.end_ns for phase in trial.phases) - start_ns)
    losses_ns = [
        period.started_ns for stream in trial.streams for period in stream.loss_period_details
    ]
    return tuple(_draw_phase(phase, start_ns, scale_ns, losses_ns) for phase in trial.phases)


def _draw_phase(phase: PhaseRecord, start_ns: int, scale_ns: int, losses_ns: list[int]) -> PhaseBar:
    start = min((phase.start_ns - start_ns) * FULL // scale_ns, FULL - _THINNEST)
    end = (phase.end_ns - start_ns) * FULL // scale_ns
    inside = {
        (loss_ns - start_ns) * FULL // scale_ns
        for loss_ns in losses_ns
        if phase.start_ns <= loss_ns < phase.end_ns
    }
    return PhaseBar(
        name=phase.name,
        duration_ns=phase.end_ns - phase.start_ns,
        start=start,
        width=max(_THINNEST, end - start),
        losses=tuple(sorted(inside)),
    )
