"""Whole runs on the simulated bench: what pytest shows, how it ends, what it leaves."""

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from qualify.errors import DeviceError
from qualify.plan.limit import Limit
from qualify.plan.planner import plan_run
from qualify.plugin.run import Run
from tests.plugin.conftest import RunCases
from tests.sample import CASE, TESTBED, image

SAMPLE = Path(__file__).parents[1] / "sample.py"

MIXED = "cases/mixed-one-tier.yaml"


def record_of(pytester: pytest.Pytester) -> dict[str, object]:
    (file,) = pytester.path.glob("reports/5.2/runs/*/record.json")
    content: dict[str, object] = json.loads(file.read_text())
    return content


def test_a_good_release_qualifies(run_cases: RunCases, pytester: pytest.Pytester) -> None:
    result = run_cases(MIXED, "--release", "5.2.0-rc3")

    assert result.ret == pytest.ExitCode.OK
    result.assert_outcomes(passed=48)
    result.stdout.fnmatch_lines(
        [
            "*mixed-one-tier-trial1: check steady install activate verify recover count compare*",
            "=* qualification of 5.2.0-rc3 (train 5.2) =*",
            "case/trial * path * direction * sent * lost * outage * budget * verdict",
            "mixed-one-tier/1 * egp * p5>p6 * 50.0 ms  pass",
            "5.2.0-rc3 qualified: 3 required trials of 1 case passed, none failed",
            "record: reports/5.2/runs/*/record.json",
            "report: reports/5.2/report.html",
        ]
    )
    assert record_of(pytester)["verdict"] == "qualified"


def test_each_check_is_a_line_whose_name_reads_well(run_cases: RunCases) -> None:
    result = run_cases(MIXED, "--release", "5.2.0-rc3", "--trials", "1", "--collect-only", "-q")

    assert [line for line in result.outlines if "::" in line] == [
        f"cases/mixed-one-tier.yaml::test_{check}[mixed-one-tier-trial1{part}]"
        for check, part in [
            ("steady_state", ""),
            ("release", "-d1"),
            ("outage", "-l2-p1>p2"),
            ("outage", "-l2-p2>p1"),
            ("outage", "-igp-p3>p4"),
            ("outage", "-igp-p4>p3"),
            ("outage", "-egp-p5>p6"),
            ("outage", "-egp-p6>p5"),
            ("neighbors", "-igp-p3"),
            ("neighbors", "-igp-p4"),
            ("neighbors", "-egp-p5"),
            ("neighbors", "-egp-p6"),
            ("routes", "-igp-p3>p4"),
            ("routes", "-igp-p4>p3"),
            ("routes", "-egp-p5>p6"),
            ("routes", "-egp-p6>p5"),
        ]
    ]


def test_collecting_starts_and_leaves_nothing(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    run_cases(MIXED, "--release", "5.2.0-rc3", "--collect-only")

    assert not (pytester.path / "reports").exists()


def test_a_bad_release_fails_once_for_each_broken_promise(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    result = run_cases(MIXED, "--release", "5.2.0-rc2", "--trials", "1")

    assert result.ret == pytest.ExitCode.TESTS_FAILED
    result.assert_outcomes(passed=6, failed=10)
    result.stdout.fnmatch_lines(
        [
            "fail: lost 680 of * frames: outage 3 400.0 ms (3 395.0 to 3 405.0 ms), budget 50.0 ms",
            "fail: 1 flap, none allowed",
            "5.2.0-rc2 not qualified: *",
            "FAILED cases/mixed-one-tier.yaml::test_outage*mixed-one-tier-trial1-l2-p1>p2*",
        ]
    )
    assert record_of(pytester)["verdict"] == "not qualified"
    assert "not qualified" in (pytester.path / "reports/5.2/report.html").read_text()


@pytest.mark.parametrize(
    ("release", "line"),
    [
        ("5.2.0-rc1", "error: *d1 refused 5.2.0-rc1: the SHA-256 of its image is *"),
        ("5.2.0-rc4", "fail: *never came back*"),
        ("5.2.0-rc5", "fail: 3 000 of 6 000 routes missing afterwards, none allowed"),
    ],
)
def test_a_planted_fault_never_qualifies_and_is_named(
    run_cases: RunCases, pytester: pytest.Pytester, release: str, line: str
) -> None:
    result = run_cases(MIXED, "--release", release, "--trials", "1")

    assert result.ret == pytest.ExitCode.TESTS_FAILED
    result.stdout.fnmatch_lines([line])
    assert record_of(pytester)["verdict"] != "qualified"


def test_a_trial_runs_once_and_the_checks_of_a_trial_stand_together(run_cases: RunCases) -> None:
    result = run_cases(MIXED, "--release", "5.2.0-rc3", "-v")

    trials = [
        line.split("mixed-one-tier-trial")[1][0]
        for line in result.outlines
        if "::test_" in line and "PASSED" in line
    ]
    assert trials == sorted(trials)
    assert sum(": check steady" in line for line in result.outlines) == 3


def test_cases_are_selected_by_their_marks(run_cases: RunCases) -> None:
    result = run_cases("cases", "--release", "5.2.0-rc3", "--collect-only", "-q", "-m", "igp")

    files = {line.split("::")[0] for line in result.outlines if "::" in line}
    assert files == {"cases/igp-one-tier.yaml"}


@pytest.mark.parametrize(
    ("mark", "testbed", "cases"),
    [
        ("one_tier and mixed", "simulated-one-tier", {"mixed-one-tier"}),
        (
            "multi_tier",
            "simulated-three-tier",
            {"mixed-three-tier", "mixed-three-tier-rolling"},
        ),
    ],
)
def test_tiers_are_marks_too(run_cases: RunCases, mark: str, testbed: str, cases: set[str]) -> None:
    result = run_cases(
        "cases", "--release", "5.2.0-rc3", "--collect-only", "-q", "-m", mark, testbed=testbed
    )

    files = {Path(line.split("::")[0]).stem for line in result.outlines if "::" in line}
    assert files == cases


def test_a_case_that_does_not_fit_the_testbed_is_named_with_the_reason(
    run_cases: RunCases,
) -> None:
    result = run_cases("cases", "--release", "5.2.0-rc3", "--collect-only")

    result.stdout.fnmatch_lines(
        ["left out: mixed-three-tier, made for 3 tiers, this testbed has one tier"]
    )


def test_a_deselected_trial_leaves_the_release_unproven(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    result = run_cases(MIXED, "--release", "5.2.0-rc3", "-k", "trial1")

    assert result.ret == pytest.ExitCode.OK
    result.stdout.fnmatch_lines(["5.2.0-rc3 not proven: *"])
    assert record_of(pytester)["verdict"] == "not proven"


def test_three_tiers_are_upgraded_at_once_and_rolling(run_cases: RunCases) -> None:
    result = run_cases(
        "cases", "--release", "5.2.0-rc3", "--trials", "1", testbed="simulated-three-tier"
    )

    result.stdout.fnmatch_lines(
        [
            "*mixed-three-tier-rolling-trial1: *activate d1 verify d1 recover d1 activate d2*",
            "5.2.0-rc3 qualified: 2 required trials of 2 cases passed, none failed",
        ]
    )


def test_junit_and_html_work_beside_it(run_cases: RunCases, pytester: pytest.Pytester) -> None:
    result = run_cases(
        MIXED,
        "--release",
        "5.2.0-rc2",
        "--trials=1",
        "--junitxml=junit.xml",
        "--html=tests.html",
        "--self-contained-html",
    )

    assert result.ret == pytest.ExitCode.TESTS_FAILED
    suite = ElementTree.parse(pytester.path / "junit.xml").getroot()[0]
    assert (suite.get("tests"), suite.get("failures"), suite.get("skipped")) == ("16", "10", "0")
    failure = next(each for each in suite if "outage" in (each.get("name") or ""))[0]
    assert "lost 680 of" in (failure.get("message") or "")
    assert "test_outage" in (pytester.path / "tests.html").read_text()


def test_the_events_of_a_run_are_kept(run_cases: RunCases, pytester: pytest.Pytester) -> None:
    run_cases(MIXED, "--release", "5.2.0-rc3", "--trials", "1")

    (file,) = pytester.path.glob("reports/5.2/runs/*/events.jsonl")
    events = [json.loads(line) for line in file.read_text().splitlines()]
    assert events[0]["event"] == "run"
    assert [each["words"] for each in events if each["event"] == "phase"][:3] == [
        "check",
        "steady",
        "install",
    ]
    (trial,) = [each for each in events if each["event"] == "trial"]
    assert trial["verdict"] == "pass"
    assert len(trial["streams"]) == 6


def test_a_quiet_run_shows_no_progress(run_cases: RunCases) -> None:
    result = run_cases(MIXED, "--release", "5.2.0-rc3", "--trials", "1", "-q")

    result.stdout.no_fnmatch_line("*check steady*")


def test_a_check_of_the_labs_own_reads_the_same_trials(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    (pytester.path / "cases" / "test_own.py").write_text(
        "def test_short(trial, stream):\n"
        "    lost = [each.figures.lost for each in trial.streams if each.stream == stream]\n"
        "    assert lost[0] < 100\n"
        "def test_named(trial):\n"
        "    assert trial.plan.case.name.endswith('tier')\n"
    )

    result = run_cases("cases", "--release", "5.2.0-rc3", "--trials", "1", "-k", "short or named")

    assert result.ret == pytest.ExitCode.OK
    result.assert_outcomes(passed=16, deselected=36)


def test_an_interrupted_run_is_recorded_as_interrupted(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    (pytester.path / "cases" / "test_own.py").write_text(
        "def test_stop(trial):\n    raise KeyboardInterrupt\n"
    )

    result = run_cases("cases", "--release", "5.2.0-rc3", "--trials", "1", "-k", "stop")

    assert result.ret == pytest.ExitCode.INTERRUPTED
    record = record_of(pytester)
    assert record["finished"] is None
    assert record["verdict"] == "not proven"
    assert str(record["reason"]).startswith("interrupted after 1 of ")


def test_without_a_testbed_the_plugin_is_idle(pytester: pytest.Pytester) -> None:
    pytester.makepyfile("def test_one(): pass")

    result = pytester.runpytest()

    result.assert_outcomes(passed=1)
    result.stdout.no_fnmatch_line("*qualification*")


def test_a_bench_that_cannot_be_opened_is_an_error_of_every_check(
    run_cases: RunCases, pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    unshare = pytester.path / "bin" / "unshare"
    unshare.parent.mkdir()
    unshare.write_text("#!/bin/sh\necho not on this machine >&2\nexit 1\n")
    unshare.chmod(0o755)
    monkeypatch.setenv("PATH", str(unshare.parent), prepend=":")

    result = run_cases(MIXED, "--release", "5.2.0-rc3", "--trials=1", testbed="virtual-one-tier")

    assert result.ret == pytest.ExitCode.TESTS_FAILED
    result.assert_outcomes(errors=16)
    problems = [line for line in result.outlines if line.startswith("error: the virtual lab")]
    assert len(problems) == 16
    assert sum(line.startswith("  fix: ") for line in result.outlines) == 1
    record = record_of(pytester)
    assert record["verdict"] == "not proven"
    assert str(record["reason"]).startswith("the bench could not be opened: the virtual lab")


def test_a_bench_that_does_not_close_as_it_should_is_told_and_recorded(tmp_path: Path) -> None:
    good = replace(image("5.2.0"), sha256=hashlib.sha256(SAMPLE.read_bytes()).hexdigest())
    plan = plan_run(TESTBED, [CASE], target=good, source=good, limit=Limit(None, None), trials=1)
    words: list[str] = []
    run = Run(plan, reports=tmp_path, watch=lambda event: words.append(event.words))
    run.required = {CASE.name: 1}
    run.assess(plan.trials[0])

    def fail() -> None:
        raise DeviceError("d1 holds on to its session", fix="end it on the console")

    run._closing.callback(fail)
    record = run.close(interrupted=False)

    assert record is not None
    assert record.verdict == "qualified"
    assert words[-1].startswith("the bench did not close as it should: d1 holds on to its session")
