"""The options that the plugin adds to pytest, and what the user said with them."""

from dataclasses import dataclass
from pathlib import Path

import pytest

_OPTIONS: tuple[tuple[str, dict[str, object]], ...] = (
    ("--testbed", {"metavar": "FILE", "help": "testbed file; without it this plugin is idle"}),
    ("--release", {"metavar": "R", "help": "release under qualification"}),
    (
        "--from-release",
        {"metavar": "R", "help": "release that every trial starts from (default: the testbed's)"},
    ),
    (
        "--trials",
        {"metavar": "N", "type": int, "help": "trials of each case (default: the case's)"},
    ),
    (
        "--reports",
        {"metavar": "DIR", "default": "reports", "help": "where reports go (default: reports)"},
    ),
)


@dataclass(frozen=True, slots=True)
class Options:
    """What the user said."""

    testbed: Path
    release: str
    from_release: str | None
    trials: int | None
    reports: Path


def add_options(parser: pytest.Parser) -> None:
    """Add the options to pytest's own."""
    group = parser.getgroup("qualify", "in-service upgrade qualification")
    for name, settings in _OPTIONS:
        group.addoption(name, **settings)


def read_options(config: pytest.Config) -> Options:
    """Read the options of a run that has a testbed.

    Raises:
        pytest.UsageError: a testbed without a release, or fewer than one trial.
    """
    release: str | None = config.getoption("--release")
    if release is None:
        raise pytest.UsageError(
            "--testbed needs the release under qualification\n  fix: add --release, e.g. 5.2.0-rc3"
        )
    trials: int | None = config.getoption("--trials")
    if trials is not None and trials < 1:
        raise pytest.UsageError(f"--trials {trials}: a case needs at least one trial")
    return Options(
        testbed=Path(config.getoption("--testbed")),
        release=release,
        from_release=config.getoption("--from-release"),
        trials=trials,
        reports=Path(config.getoption("--reports")),
    )
