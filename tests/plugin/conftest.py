"""Whole pytest sessions in a folder of their own, with the shipped testbeds and cases."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

# Kept loaded: an inner session forgets the modules that it loads, and numpy loads only once.
import qualify.devices.simulated
import qualify.peers.simulated
import qualify.plugin.running
import qualify.traffic.scapy_backend
import qualify.traffic.simulated  # noqa: F401

PROJECT = Path(__file__).parents[2]

RunCases = Callable[..., pytest.RunResult]


@pytest.fixture
def run_cases(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> RunCases:
    """Run pytest on copies of the shipped files; they can be changed before."""
    # pytest writes longer lines where these are set, and these tests read its lines.
    for variable in ("CI", "BUILD_NUMBER"):
        monkeypatch.delenv(variable, raising=False)
    shutil.copytree(PROJECT / "testbeds", pytester.path / "testbeds")
    shutil.copytree(PROJECT / "cases", pytester.path / "cases")

    def run(*arguments: str, testbed: str = "simulated-one-tier") -> pytest.RunResult:
        return pytester.runpytest_inprocess(
            "-p",
            "no:cacheprovider",
            "--testbed",
            f"testbeds/{testbed}.yaml",
            *arguments,
            no_reraise_ctrlc=True,
        )

    return run
