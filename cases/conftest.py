"""Says what to pass when the cases are started without a testbed."""

import pytest


def pytest_sessionstart(session: pytest.Session) -> None:
    """Refuse to collect nothing silently."""
    if session.config.getoption("--testbed") is None:
        raise pytest.UsageError(
            "the cases need a testbed and the release under qualification\n"
            "  fix: pytest cases --testbed testbeds/virtual-one-tier.yaml --release 5.2.0-rc3"
        )
