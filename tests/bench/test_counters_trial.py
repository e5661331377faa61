"""A whole trial with the counts of another generator: honest figures, and no pass from totals."""

import hashlib
import os
from dataclasses import replace
from pathlib import Path

from qualify.bench.bench import open_bench
from qualify.bench.telling import Event
from qualify.bench.trial import run_trial
from qualify.clock import VirtualClock
from qualify.plan.limit import Limit
from qualify.plan.planner import plan_run
from qualify.testbed.testbed import Column, CountersFile
from qualify.verdict.assess import assess
from qualify.verdict.assessment import TrialAssessment
from qualify.verdict.verdict import Outcome
from tests.sample import CASE, TESTBED, image

SUM = hashlib.sha256((Path(__file__).parents[1] / "sample.py").read_bytes()).hexdigest()
HEAD = "stream,sent,received,duplicate,tester_dropped,longest_stall_ms"


def assess_trial(folder: Path, row: str, *, head: str = HEAD) -> TrialAssessment:
    """Run a trial on the switched path; the generator writes its row when traffic has stopped."""
    clock = VirtualClock(1_000_000_000_000)
    file = folder / "counts.csv"

    def generator(event: Event) -> None:
        if event.kind == "phase" and event.words == "count":
            file.write_text(f"{head}\nl2 p1>p2,{row}\nl2 p2>p1,{row}\n")
            os.utime(file, ns=(clock.now_ns(), clock.now_ns()))

    columns = {Column(name): name for name in head.split(",")}
    tester = replace(TESTBED.tester, traffic="counters", counters=CountersFile(file, columns))
    plan = plan_run(
        replace(TESTBED, tester=tester),
        [replace(CASE, paths=("l2",), budgets={"l2": CASE.budgets["l2"]})],
        target=replace(image("5.2.0"), sha256=SUM),
        source=replace(image("5.1.0"), sha256=SUM),
        limit=Limit(None, None),
        trials=1,
    )
    with open_bench(plan, clock=clock, tell=generator) as bench:
        observation = run_trial(bench, plan.trials[0])
    return assess(plan.trials[0], observation, target_release="5.2.0")


def test_a_clean_generator_passes_its_streams_but_nobody_watched_the_steady_state(
    tmp_path: Path,
) -> None:
    trial = assess_trial(tmp_path, "90000,90000,0,0,0")

    assert [each.verdict.outcome for each in trial.streams] == [Outcome.PASS, Outcome.PASS]
    assert trial.steady.outcome is Outcome.INCONCLUSIVE
    assert trial.steady.reason == "totals do not say what was lost before the upgrade"
    assert trial.verdict.outcome is Outcome.INCONCLUSIVE
    assert trial.verdict.reason.startswith("steady state: totals do not say")


def test_a_generator_that_knows_only_sent_and_received_proves_nothing(tmp_path: Path) -> None:
    trial = assess_trial(tmp_path, "90000,90000", head="stream,sent,received")

    assert {each.verdict.outcome for each in trial.streams} == {Outcome.INCONCLUSIVE}
    assert trial.streams[0].figures.duplicate is None


def test_frames_that_do_not_cover_the_trial_prove_nothing(tmp_path: Path) -> None:
    trial = assess_trial(tmp_path, "5000,5000,0,0,0")

    (first, _) = (each.verdict for each in trial.streams)
    assert first.outcome is Outcome.INCONCLUSIVE
    assert "but the frames that were sent cover 5.0 s at most" in first.reason


def test_a_long_loss_fails(tmp_path: Path) -> None:
    trial = assess_trial(tmp_path, "90000,1000,0,0,0")

    assert {each.verdict.outcome for each in trial.streams} == {Outcome.FAIL}
    assert trial.verdict.outcome is Outcome.FAIL


def test_counts_that_contradict_each_other_give_no_figures(tmp_path: Path) -> None:
    trial = assess_trial(tmp_path, "90000,90001,0,0,0")

    assert trial.streams == ()
    assert trial.verdict.outcome is Outcome.INCONCLUSIVE
