"""A kept self-check is used by a whole run: it refuses what cannot be proven, or says why not."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from qualify.bench.capability_file import keep_capability
from qualify.plan.capability import Capability
from tests.plugin.conftest import RunCases

MIXED = "cases/mixed-one-tier.yaml"


def keep(folder: Path, *, measured_on: str) -> None:
    seen = Capability("simulated", measured_on, 6, 128, 100, 60_000_000, 1_000_000)
    keep_capability(seen, folder=folder)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A private folder of the test's own."""
    monkeypatch.setattr("qualify.bench.capability_file.private_folder", lambda: tmp_path)
    return tmp_path


def test_a_case_beyond_what_was_seen_is_refused_before_anything_starts(
    run_cases: RunCases, folder: Path
) -> None:
    keep(folder, measured_on=datetime.now(UTC).date().isoformat())

    result = run_cases(MIXED, "--release", "5.2.0-rc3")

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(
        [
            f"ERROR: {MIXED} stream.offered_load_pps: 6 streams of * sent 600 in all without *",
            "*fix: offer at most 100 frames/s on each stream, or check again on a quieter machine*",
            f"*{MIXED} budgets.l2.outage_ms: * sent a frame 60.0 ms late",
        ]
    )


def test_an_old_one_is_passed_over_with_a_word(run_cases: RunCases, folder: Path) -> None:
    keep(folder, measured_on="2001-02-03")

    result = run_cases(MIXED, "--release", "5.2.0-rc3", "--collect-only")

    assert result.ret == pytest.ExitCode.OK
    result.stdout.fnmatch_lines([f"{folder}/self-check-simulated.json is not used: *2001-02-03; *"])
