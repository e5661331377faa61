"""The checks of a case: every case file is collected as if it held these test functions.

Each check reads one verdict of a trial that ran once; none of them measures anything.
"""

from collections.abc import Callable, Iterable
from typing import Protocol, TypeVar

import pytest

from qualify.plan.stream import Stream
from qualify.plan.trial import PeerPlan
from qualify.verdict.assessment import TrialAssessment
from qualify.verdict.verdict import Outcome, Verdict


class _Judged(Protocol):
    @property
    def verdict(self) -> Verdict: ...


_J = TypeVar("_J", bound=_Judged)


def test_steady_state(trial: TrialAssessment) -> None:
    """Before the upgrade nothing is lost, repeated or reordered: the bench is fit."""
    uphold(trial.steady)


def test_release(trial: TrialAssessment, dut: str) -> None:
    """After the upgrade the device runs the release that it was upgraded to."""
    uphold(_verdict(trial, trial.duts, lambda each: each.observation.name == dut))


def test_outage(trial: TrialAssessment, stream: Stream) -> None:
    """The outage of each path and direction stays within its budget."""
    uphold(_verdict(trial, trial.streams, lambda each: each.stream.number == stream.number))


def test_neighbors(trial: TrialAssessment, peer: PeerPlan) -> None:
    """Each peer of the tester keeps its neighbor, as the case asks."""
    uphold(_verdict(trial, trial.neighbors, lambda each: each.history.observer == peer.port))


def test_routes(trial: TrialAssessment, route: tuple[str, str]) -> None:
    """Afterwards every route is back, in each direction of each routed path."""
    uphold(
        _verdict(
            trial,
            trial.routes,
            lambda each: (each.history.path, each.history.direction) == route,
        )
    )


def uphold(verdict: Verdict) -> None:
    """Pass, or fail with the verdict's outcome and reason; never skip."""
    if verdict.outcome is not Outcome.PASS:
        pytest.fail(f"{verdict.outcome}: {verdict.reason}", pytrace=False)


def _verdict(trial: TrialAssessment, judged: Iterable[_J], is_it: Callable[[_J], bool]) -> Verdict:
    """Find the verdict; a trial that broke off has none of its own for anything."""
    return next((each.verdict for each in judged if is_it(each)), trial.verdict)
