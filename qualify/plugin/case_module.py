"""How a case file becomes test items: it is a module whose test functions are our checks."""

from collections.abc import Sequence
from types import ModuleType

import pytest

from qualify.plan.trial import Plan, TrialPlan
from qualify.plugin import checks


class CaseModule(pytest.Module):
    """A case file, collected as if it held the functions of ``checks``."""

    def collect(self) -> list[pytest.Item | pytest.Collector]:
        """Collect the checks; one that has nothing to ask in this case is no test at all."""
        return [node for node in super().collect() if trial_of(node) is not None]

    def _getobj(self) -> ModuleType:
        return checks


def trial_of(node: pytest.Item | pytest.Collector) -> TrialPlan | None:
    """Return the trial that a test item reads; ``None`` for any other node."""
    callspec = getattr(node, "callspec", None)
    found = callspec.params.get("trial") if callspec else None
    return found if isinstance(found, TrialPlan) else None


def marks_of(plan: Plan, trial: TrialPlan) -> tuple[pytest.MarkDecorator, ...]:
    """Return the two marks of a trial's case: its kind of path, and its tiers."""
    kinds = {plan.testbed.path(name).kind.value for name in trial.case.paths}
    kind = kinds.pop() if len(kinds) == 1 else "mixed"
    tiers = "one_tier" if trial.case.tiers == 1 else "multi_tier"
    return (getattr(pytest.mark, kind), getattr(pytest.mark, tiers))


def parametrise(metafunc: pytest.Metafunc, plan: Plan, trials: Sequence[TrialPlan]) -> None:
    """Give a check its trials, and with each trial the part that the check asks about.

    A test function of a lab's own gets the same: it asks for ``trial``, or for ``trial`` and one
    of ``dut``, ``stream``, ``peer`` and ``route``.
    """
    wanted = [name for name in ("dut", "stream", "peer", "route") if name in metafunc.fixturenames]
    parts = {"dut": _duts, "stream": _streams, "peer": _peers, "route": _routes}
    if not wanted:
        params = [_param(plan, trial, "", ()) for trial in trials]
    else:
        params = [
            _param(plan, trial, f"-{name}", (value,))
            for trial in trials
            for name, value in parts[wanted[0]](plan, trial)
        ]
    metafunc.parametrize(("trial", *wanted[:1]), params, indirect=["trial"])


def _param(plan: Plan, trial: TrialPlan, name: str, part: tuple[object, ...]) -> object:
    return pytest.param(trial, *part, id=trial.name + name, marks=marks_of(plan, trial))


def _duts(plan: Plan, trial: TrialPlan) -> list[tuple[str, object]]:
    del trial
    return [(dut.name, dut.name) for dut in plan.testbed.duts]


def _streams(plan: Plan, trial: TrialPlan) -> list[tuple[str, object]]:
    del plan
    return [(f"{stream.path}-{stream.direction}", stream) for stream in trial.streams]


def _peers(plan: Plan, trial: TrialPlan) -> list[tuple[str, object]]:
    return [
        (f"{peer.path}-{peer.port}", peer) for peer in plan.peers if peer.path in trial.case.paths
    ]


def _routes(plan: Plan, trial: TrialPlan) -> list[tuple[str, object]]:
    routed = {peer.path for peer in plan.peers}
    return [
        (f"{stream.path}-{stream.direction}", (stream.path, stream.direction))
        for stream in trial.streams
        if stream.path in routed
    ]
