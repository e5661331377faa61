"""What all tests share: live tests name what the machine lacks, and CI skips nothing."""

import os
import signal

import pytest
from hypothesis import settings

from qualify.lab.machine import missing_for_lab

pytest_plugins = ["pytester"]

# How long an example takes says more about the machine than about the code.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_configure() -> None:
    """Let Ctrl-C mean the same however the tests were started: background jobs ignore it."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip live tests where the machine lacks something, with its name; never in CI."""
    live = [item for item in items if item.get_closest_marker("live")]
    missing = missing_for_lab() if live else ()
    if not missing or os.environ.get("CI"):
        return
    for item in live:
        item.add_marker(pytest.mark.skip(reason=f"the machine lacks: {'; '.join(missing)}"))
