"""The hooks that work when there is a testbed; each hands over to who knows what it is about."""

from pathlib import Path

import pytest

from qualify.errors import QualifyError
from qualify.plan.trial import TrialPlan
from qualify.plugin.case_module import CaseModule, parametrise, trial_of
from qualify.plugin.files import plan_from_files
from qualify.plugin.options import read_options
from qualify.plugin.progress import Progress
from qualify.plugin.run import Run
from qualify.plugin.summary import write_summary
from qualify.record.model import Record
from qualify.verdict.assessment import TrialAssessment

RUN = pytest.StashKey[Run]()
RECORD = pytest.StashKey[Record]()


def pytest_sessionstart(session: pytest.Session) -> None:
    """Read every file and plan the run, before anything is collected or started."""
    config = session.config
    options = read_options(config)
    plan = plan_from_files(options, config.args)
    progress = Progress(config, plan)
    config.stash[RUN] = Run(plan, reports=options.reports, watch=progress)


def pytest_report_collectionfinish(config: pytest.Config) -> list[str]:
    """Say which cases do not fit the testbed, and why, and what else there is to remark."""
    run = config.stash.get(RUN, None)
    if run is None:
        return []
    left_out = [f"left out: {case.name}, {reason}" for case, reason in run.plan.left_out]
    return [*left_out, *run.plan.remarks]


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> CaseModule | None:
    """Collect a case file of the plan."""
    run = parent.config.stash.get(RUN, None)
    if run is None or file_path.suffix != ".yaml" or not _trials_of(run, file_path):
        return None
    module: CaseModule = CaseModule.from_parent(parent, path=file_path)
    return module


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give every check that asks for a trial the trials of its case."""
    run = metafunc.config.stash.get(RUN, None)
    if run is None or "trial" not in metafunc.fixturenames:
        return
    parametrise(metafunc, run.plan, _trials_of(run, metafunc.definition.path))


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Put the checks of a trial together, in the order of the plan."""
    run = config.stash.get(RUN, None)
    if run is None:
        return
    order = {trial.name: place for place, trial in enumerate(run.plan.trials)}
    items.sort(key=lambda item: order.get(trial.name, -1) if (trial := trial_of(item)) else -1)


def pytest_collection_finish(session: pytest.Session) -> None:
    """Note how many trials of each selected case have to pass."""
    run = session.config.stash.get(RUN, None)
    if run is None:
        return
    selected = {trial.case.name for item in session.items if (trial := trial_of(item))}
    planned = [trial.case.name for trial in run.plan.trials]
    run.required = {name: planned.count(name) for name in planned if name in selected}


@pytest.fixture
def trial(request: pytest.FixtureRequest) -> TrialAssessment:
    """What is said about one trial; it is run when the first check asks for it."""
    run = request.config.stash[RUN]
    first = run.failure is None
    try:
        return run.assess(request.param)
    except QualifyError as error:
        problem = str(error) if first else error.problem
    # Outside the handler, so that pytest does not print the chain of exceptions with it.
    pytest.fail(f"error: {problem}", pytrace=False)


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Close the bench; write the record and the reports."""
    run = session.config.stash.get(RUN, None)
    if run is None:
        return
    record = run.close(interrupted=exitstatus == pytest.ExitCode.INTERRUPTED)
    if record is not None:
        session.config.stash[RECORD] = record


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Show the verdicts and say where the report is."""
    run, record = config.stash.get(RUN, None), config.stash.get(RECORD, None)
    if run and record:
        write_summary(terminalreporter, run, record)


def _trials_of(run: Run, path: Path) -> list[TrialPlan]:
    """The trials of a case file; for a Python module, those of the case files beside it."""
    return [
        trial
        for trial in run.plan.trials
        if path.resolve() == trial.case.file.resolve()
        or (path.suffix == ".py" and path.parent.resolve() == trial.case.file.resolve().parent)
    ]
