"""What is written while a run goes on: its events, and its record after every trial."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from qualify import __version__
from qualify.bench.telling import Event
from qualify.clock import Clock
from qualify.plan.trial import Plan
from qualify.record.build import RunFacts, build_record
from qualify.record.events import EventLog
from qualify.record.machine import describe_machine
from qualify.record.model import Record
from qualify.record.store import RunFolder, create_run, write_record
from qualify.report.publish import write_reports
from qualify.verdict.assessment import Decision, TrialAssessment


class Logbook:
    """The folder of one run, opened when the run begins."""

    def __init__(self, plan: Plan, *, reports: Path, clock: Clock) -> None:
        self._plan = plan
        self._reports = reports
        self._clock = clock
        self._started_ns = clock.now_ns()
        self._folder = create_run(reports, train=plan.target.train, started_ns=self._started_ns)
        self._log = EventLog(self._folder.events_file, clock)
        self._log.write(
            "run",
            {
                "release": plan.target.release,
                "from_release": plan.source.release,
                "testbed": plan.testbed.name,
                "trials": [trial.name for trial in plan.trials],
            },
        )

    @property
    def folder(self) -> RunFolder:
        """Where the run is kept."""
        return self._folder

    def note(self, event: Event) -> None:
        """Write an event; counts are for the eye only, and a verdict is noted with its figures."""
        if event.kind not in ("count", "verdict"):
            self._log.write(event.kind, {"trial": event.trial, "words": event.words})

    def note_trial(self, trial: TrialAssessment) -> None:
        """Write what was measured in a trial, before anything else can go wrong."""
        self._log.write(
            "trial",
            {
                "trial": trial.plan.name,
                "verdict": trial.verdict.outcome.value,
                "reason": trial.verdict.reason,
                "streams": [
                    {
                        "path": each.stream.path,
                        "direction": each.stream.direction,
                        "sent": each.figures.sent,
                        "received": each.figures.received,
                        "lost": each.figures.lost,
                        "verdict": each.verdict.outcome.value,
                    }
                    for each in trial.streams
                ],
            },
        )

    def keep(
        self,
        trials: Sequence[TrialAssessment],
        decision: Decision,
        *,
        required: Mapping[str, int],
        finished: bool,
    ) -> Record:
        """Write the record as it stands now, over the one before."""
        facts = RunFacts(
            run=self._folder.run,
            started_ns=self._started_ns,
            finished_ns=self._clock.now_ns() if finished else None,
            version=__version__,
            machine=describe_machine(),
            required=required,
        )
        record = build_record(self._plan, tuple(trials), decision, facts)
        write_record(record, self._folder)
        return record

    def publish(self) -> Path:
        """Write the report of the train, and the index of all trains; returns the report."""
        return write_reports(self._reports, self._plan.target.train)

    def close(self) -> None:
        """Close the event log."""
        self._log.close()
