"""From a plan, its judged trials and the decision to the record of the run. Pure."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from qualify.plan.trial import Plan
from qualify.record.build_trial import record_trial
from qualify.record.model import (
    BudgetRecord,
    CaseRecord,
    DecisionWord,
    ImageRecord,
    LeftOutRecord,
    MachineRecord,
    PathRecord,
    Record,
    TestbedRecord,
    ToolRecord,
)
from qualify.testbed.case import Case
from qualify.testbed.image import Image
from qualify.testbed.testbed import Testbed
from qualify.units import NS_PER_US
from qualify.verdict.assessment import Decision, TrialAssessment

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class RunFacts:
    """What is known of a run besides its trials.

    ``finished_ns`` is ``None`` while the run goes on and when it was interrupted. Both times are
    those of the bench's clock, in nanoseconds since the Unix epoch. ``required`` is how many trials
    of each case must pass; a case that it does not name was deselected. ``None``: all planned ones.
    """

    run: str
    started_ns: int
    finished_ns: int | None
    version: str
    machine: MachineRecord
    required: Mapping[str, int] | None = None


def build_record(
    plan: Plan, trials: tuple[TrialAssessment, ...], decision: Decision, facts: RunFacts
) -> Record:
    """Put together the record of a run.

    An unfinished run is never written as qualified, whatever the decision says: a copy of the
    record that is kept while the run goes on must not read as its result.
    """
    cases = {trial.case.name: trial.case for trial in plan.trials}
    required = facts.required
    if required is None:
        required = Counter(trial.case.name for trial in plan.trials)
    planned = sum(trial.case.name in required for trial in plan.trials)
    word, reason = _settle(decision, done=len(trials), planned=planned, facts=facts)
    return Record(
        run=facts.run,
        started=_moment(facts.started_ns),
        finished=None if facts.finished_ns is None else _moment(facts.finished_ns),
        train=plan.target.train,
        release=plan.target.release,
        from_release=plan.source.release,
        verdict=word,
        reason=reason,
        testbed=_testbed(plan.testbed),
        tool=ToolRecord(facts.version),
        machine=facts.machine,
        trials=tuple(record_trial(trial) for trial in trials),
        image=_image(plan.target),
        from_image=_image(plan.source),
        cases=tuple(
            _case(case, required[name]) for name, case in cases.items() if name in required
        ),
        left_out=(
            *(LeftOutRecord(case.name, reason) for case, reason in plan.left_out),
            *(LeftOutRecord(name, "deselected") for name in cases if name not in required),
        ),
    )


def _settle(
    decision: Decision, *, done: int, planned: int, facts: RunFacts
) -> tuple[DecisionWord, str]:
    word = DecisionWord(decision.word)
    if facts.finished_ns is not None:
        return word, decision.reason
    interrupted = f"interrupted after {done} of {planned} trials"
    if word is DecisionWord.NOT_QUALIFIED:
        return word, f"{decision.reason}; the run was {interrupted}"
    return DecisionWord.NOT_PROVEN, interrupted


def _moment(at_ns: int) -> datetime:
    return _EPOCH + timedelta(microseconds=at_ns // NS_PER_US)


def _testbed(testbed: Testbed) -> TestbedRecord:
    return TestbedRecord(
        name=testbed.name,
        kind=testbed.kind.value,
        sha256=testbed.sha256,
        traffic=testbed.tester.traffic,
        tiers=testbed.tiers,
        paths=tuple(
            PathRecord(
                name=path.name,
                kind=path.kind.value,
                protocol=path.protocol,
                ports=path.ports,
                hosts=path.hosts,
                routes=path.routes,
                headers=path.headers.value,
                vlans=path.vlans,
            )
            for path in testbed.paths
        ),
    )


def _image(image: Image) -> ImageRecord:
    return ImageRecord(
        name=image.name,
        maker=image.maker,
        model=image.model,
        train=image.train,
        release=image.release,
        sha256=image.sha256,
    )


def _case(case: Case, required_trials: int) -> CaseRecord:
    return CaseRecord(
        case=case.name,
        required_trials=required_trials,
        order=case.order.value,
        tiers=case.tiers,
        offered_load_pps=case.stream.offered_load_pps,
        frame_octets=case.stream.frame_octets,
        budgets=tuple(
            BudgetRecord(path, budget.outage_ns) for path, budget in case.budgets.items()
        ),
        allowed_flaps=case.neighbors.flaps,
        graceful_restarts_allowed=case.neighbors.graceful_restarts_allowed,
        allowed_lost_routes=case.routes.lost,
        sha256=case.sha256,
        frame_sizes=case.stream.sizes,
    )
