"""What did not pass, and the order in which a reader should meet the rest: failures first."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from qualify.record.model import NeighborRecord, Record, RouteRecord, StreamRecord, TrialRecord
from qualify.report.words import direction_words, kind_words
from qualify.verdict.verdict import Outcome

_GRAVITY = (Outcome.FAIL, Outcome.ERROR, Outcome.INCONCLUSIVE, Outcome.PASS)
_KINDS = ("l2", "igp", "egp")


@dataclass(frozen=True, slots=True)
class Finding:
    """A check that did not pass."""

    subject: str
    outcome: Outcome
    reason: str


@dataclass(frozen=True, slots=True)
class FailedTrial:
    """A trial that did not pass, and those of its checks that did not, the gravest first."""

    trial: TrialRecord
    findings: tuple[Finding, ...]


class Judged(Protocol):
    """A part of a trial that carries a verdict; ``None``: it was not judged."""

    @property
    def verdict(self) -> Outcome | None:
        """How the check ended."""
        ...


_T = TypeVar("_T", bound=Judged)


@dataclass(frozen=True, slots=True)
class Row(Generic[_T]):
    """A line of a table: a part of a trial, and the trial it belongs to."""

    trial: TrialRecord
    part: _T


@dataclass(frozen=True, slots=True)
class StreamGroup:
    """All streams of one kind of path, failures first."""

    title: str
    rows: tuple[Row[StreamRecord], ...]


def find_failures(record: Record) -> tuple[FailedTrial, ...]:
    """List every trial that did not pass, failures first, then in the order of the run."""
    failed = [
        FailedTrial(trial, _find_in(trial))
        for trial in record.trials
        if trial.verdict is not Outcome.PASS
    ]
    return tuple(sorted(failed, key=lambda each: _gravity(each.trial.verdict)))


def group_streams(record: Record) -> tuple[StreamGroup, ...]:
    """Group the streams of all trials by kind of path: switching, interior, exterior."""
    rows = _failures_first(
        Row(trial, stream) for trial in record.trials for stream in trial.streams
    )
    kinds = dict.fromkeys((*_KINDS, *(row.part.kind for row in rows)))
    groups = (
        StreamGroup(
            kind_words(kind, _protocols(record, kind)),
            tuple(row for row in rows if row.part.kind == kind),
        )
        for kind in kinds
    )
    return tuple(group for group in groups if group.rows)


def order_routes(record: Record) -> tuple[Row[RouteRecord], ...]:
    """Order the routes of all trials, failures first."""
    return _failures_first(Row(trial, part) for trial in record.trials for part in trial.routes)


def order_neighbors(record: Record) -> tuple[Row[NeighborRecord], ...]:
    """Order the neighbors of all trials, failures first."""
    return _failures_first(Row(trial, part) for trial in record.trials for part in trial.neighbors)


def trial_name(trial: TrialRecord) -> str:
    """Call a trial what people call it."""
    return f"{trial.case}, trial {trial.trial}"


def _failures_first(rows: Iterable[Row[_T]]) -> tuple[Row[_T], ...]:
    return tuple(sorted(rows, key=lambda row: _gravity(row.part.verdict)))


def _gravity(outcome: Outcome | None) -> int:
    return len(_GRAVITY) if outcome is None else _GRAVITY.index(outcome)


def _protocols(record: Record, kind: str) -> tuple[str, ...]:
    found = (path.protocol for path in record.testbed.paths if path.kind == kind)
    return tuple(dict.fromkeys(protocol for protocol in found if protocol))


def _find_in(trial: TrialRecord) -> tuple[Finding, ...]:
    found = [
        Finding(subject, outcome, reason)
        for subject, outcome, reason in _checks(trial)
        if outcome is not None and outcome is not Outcome.PASS
    ]
    return tuple(sorted(found, key=lambda finding: _gravity(finding.outcome)))


def _checks(trial: TrialRecord) -> Iterator[tuple[str, Outcome | None, str]]:
    yield "bench before the upgrade", trial.steady_verdict, trial.steady_reason
    for stream in trial.streams:
        subject = f"loss on {stream.path}, {direction_words(stream.direction)}"
        yield subject, stream.verdict, stream.reason
    for dut in trial.duts:
        yield f"release of {dut.name}", dut.verdict, dut.reason
    for routes in trial.routes:
        subject = f"routes of {routes.path}, {direction_words(routes.direction)}"
        yield subject, routes.verdict, routes.reason
    for neighbor in trial.neighbors:
        subject = f"{neighbor.protocol} neighbor seen from {neighbor.observer}"
        yield subject, neighbor.verdict, neighbor.reason
