"""Bad input: one clear message, exit status 4, and nothing started."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.plugin.conftest import RunCases

MIXED = "cases/mixed-one-tier.yaml"
TESTBED = "testbeds/simulated-one-tier.yaml"
GOOD = ("--release", "5.2.0-rc3")

Change = Callable[[Path], None]


def swap(file: str, old: str, new: str) -> Change:
    def change(folder: Path) -> None:
        text = (folder / file).read_text()
        assert old in text
        (folder / file).write_text(text.replace(old, new, 1))

    return change


def write(file: str, text: str) -> Change:
    def change(folder: Path) -> None:
        (folder / file).write_text(text)

    return change


def make_folder(folder: Path) -> None:
    (folder / TESTBED).unlink()
    (folder / TESTBED).mkdir()


def make_large(folder: Path) -> None:
    with (folder / TESTBED).open("r+b") as stream:
        stream.truncate(50_000_000)


BOMB = "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\ntestbed: *c\n"

BAD: dict[str, tuple[Change, str]] = {
    "a key twice": (
        swap(TESTBED, "kind: simulated", "kind: simulated\nkind: virtual"),
        f"ERROR: {TESTBED}:4:1 kind: the key 'kind' stands here a second time, first on line 3",
    ),
    "an unknown key": (
        swap(TESTBED, "traffic: simulated", "trafic: simulated"),
        f"*{TESTBED}:6:3 tester.trafic: the key 'trafic' is not known here",
    ),
    "a release that YAML makes a number": (
        swap(TESTBED, "release: 5.1.0", "release: 7.10"),
        f"ERROR: {TESTBED}:16:45 duts.d1.release: 7.10 is read as a number",
    ),
    "an unknown port": (
        swap(TESTBED, "ports: [p1, p2]", "ports: [p1, p9]"),
        f"ERROR: {TESTBED}:*p9*",
    ),
    "both ends on one device port": (
        swap(TESTBED, "p2: {attach: d1/e2}", "p2: {attach: d1/e1}"),
        f"ERROR: {TESTBED}:*d1/e1*",
    ),
    "a budget on a path that the testbed lacks": (
        swap(MIXED, "  egp: {outage_ms: 50}", "  egp: {outage_ms: 50}\n  wan: {outage_ms: 50}"),
        f"ERROR: {MIXED}:*wan*",
    ),
    "a rate too low for the budget": (
        swap(MIXED, "offered_load_pps: 200", "offered_load_pps: 10"),
        f"ERROR: *{MIXED} budgets.l2.outage_ms: an outage budget of 50.0 ms cannot be proven at*",
    ),
    "a testbed that is a folder": (make_folder, f"ERROR: {TESTBED}*folder*"),
    "an empty testbed": (write(TESTBED, ""), f"ERROR: {TESTBED}*empty*"),
    "a file of 50 MB": (make_large, f"ERROR: {TESTBED}*too large*"),
    "an alias bomb": (write(TESTBED, BOMB), f"ERROR: {TESTBED}:1:4*alias*"),
}


@pytest.mark.parametrize(("change", "line"), BAD.values(), ids=BAD.keys())
def test_bad_files_are_refused_before_anything_starts(
    run_cases: RunCases, pytester: pytest.Pytester, change: Change, line: str
) -> None:
    change(pytester.path)

    result = run_cases(MIXED, *GOOD)

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines([line, "*fix: *"])
    assert not (pytester.path / "reports").exists()


def test_the_mistakes_of_all_cases_are_shown_at_once(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    swap(MIXED, "trials: 3", "trials: 0")(pytester.path)
    swap("cases/l2-one-tier.yaml", "trials: 3", "trials: none")(pytester.path)

    result = run_cases("cases", *GOOD)

    result.stderr.fnmatch_lines(
        ["ERROR: cases/l2-one-tier.yaml:*", "ERROR: cases/mixed-one-tier.yaml:*"]
    )


def test_a_rate_that_the_backend_cannot_do_is_refused_with_the_rate_that_it_can(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    swap(MIXED, "offered_load_pps: 200", "offered_load_pps: 10000")(pytester.path)

    result = run_cases(MIXED, *GOOD, testbed="virtual-one-tier")

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(
        [
            "ERROR: *6 streams of 10 000 frames/s are 60 000 frames/s, and the traffic backend "
            "'scapy' can do * in all",
            "  fix: offer at most * frames/s on each stream",
        ]
    )


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (("--release", "9.9.9"), "ERROR: *9.9.9*"),
        ((), "ERROR: --testbed needs the release under qualification"),
        ((*GOOD, "--trials", "0"), "ERROR: --trials 0: a case needs at least one trial"),
        ((*GOOD, "--from-release", "1.0"), "ERROR: *1.0*"),
    ],
)
def test_bad_options_are_refused(
    run_cases: RunCases, arguments: tuple[str, ...], line: str
) -> None:
    result = run_cases(MIXED, *arguments)

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines([line])


def test_a_release_that_is_not_there_names_those_that_are(run_cases: RunCases) -> None:
    result = run_cases(MIXED, "--release", "5.2.0-rc33")

    result.stderr.fnmatch_lines(["*5.2.0-rc3*"])


def test_cases_without_a_testbed_say_what_to_pass(
    run_cases: RunCases, pytester: pytest.Pytester
) -> None:
    del run_cases  # it has brought the files

    result = pytester.runpytest("-p", "no:cacheprovider", "cases")

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(
        [
            "ERROR: the cases need a testbed and the release under qualification",
            "  fix: pytest cases --testbed testbeds/virtual-one-tier.yaml --release 5.2.0-rc3",
        ]
    )


def test_cases_that_all_want_other_tiers_are_refused(run_cases: RunCases) -> None:
    result = run_cases("cases/mixed-three-tier.yaml", *GOOD)

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(
        ["ERROR: no case fits testbeds/simulated-one-tier.yaml: mixed-three-tier is made for*"]
    )
