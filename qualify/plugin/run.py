"""A run: the bench is opened when the first trial is wanted, and each trial runs once."""

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from pathlib import Path

from qualify.bench.bench import Bench, clock_for, open_bench
from qualify.bench.telling import Event
from qualify.bench.trial import run_trial
from qualify.errors import QualifyError
from qualify.plan.trial import Plan, TrialPlan
from qualify.plugin.logbook import Logbook
from qualify.record.model import Record
from qualify.verdict.assess import assess, decide
from qualify.verdict.assessment import Decision, TrialAssessment


class Run:
    """Everything between the plan and the record of one pytest run.

    Args:
        plan: the trials.
        reports: folder of all reports.
        watch: told of everything that happens, for the terminal.
    """

    def __init__(self, plan: Plan, *, reports: Path, watch: Callable[[Event], None]) -> None:
        self.plan = plan
        self.required: Mapping[str, int] = {}
        self.logbook: Logbook | None = None
        self._reports = reports
        self._watch = watch
        self._clock = clock_for(plan.testbed)
        self._closing = ExitStack()
        self._bench: Bench | None = None
        self.failure: QualifyError | None = None
        self._assessed: dict[str, TrialAssessment] = {}

    def assess(self, trial: TrialPlan) -> TrialAssessment:
        """Return what is said about a trial; the first time, run it.

        Raises:
            QualifyError: the bench could not be opened; it is not tried again.
        """
        if trial.name not in self._assessed:
            bench = self._open()
            assessed = assess(
                trial, run_trial(bench, trial), target_release=self.plan.target.release
            )
            self._assessed[trial.name] = assessed
            if self.logbook:
                self.logbook.note_trial(assessed)
            bench.say("verdict", assessed.verdict.outcome, trial=trial.name)
            self._keep(finished=False)
        return self._assessed[trial.name]

    def close(self, *, interrupted: bool) -> Record | None:
        """Close the bench and write the record; ``None`` when no trial was ever wanted."""
        try:
            self._closing.close()
        except QualifyError as error:
            self._say(f"the bench did not close as it should: {error}")
        record = self._keep(finished=not interrupted)
        if self.logbook:
            self.logbook.close()
        return record

    def _open(self) -> Bench:
        if self.failure:
            raise self.failure
        if self._bench is None:
            self.logbook = Logbook(self.plan, reports=self._reports, clock=self._clock)
            try:
                self._bench = self._closing.enter_context(
                    open_bench(self.plan, clock=self._clock, tell=self._tell)
                )
            except QualifyError as error:
                self.failure = error
                raise
        return self._bench

    def _say(self, words: str) -> None:
        self._tell(Event(self._clock.now_ns(), "note", "", words))

    def _tell(self, event: Event) -> None:
        self._watch(event)
        if self.logbook:
            self.logbook.note(event)

    def _keep(self, *, finished: bool) -> Record | None:
        if self.logbook is None:
            return None
        trials = list(self._assessed.values())
        decision = (
            Decision("not proven", f"the bench could not be opened: {self.failure.problem}")
            if self.failure
            else decide(trials, required=self.required)
        )
        return self.logbook.keep(trials, decision, required=self.required, finished=finished)
