"""What pytest always loads: options and marks. Without a testbed the plugin stays idle."""

import pytest

from qualify.plugin.marks import declare_marks
from qualify.plugin.options import add_options


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add ``--testbed`` and its companions."""
    add_options(parser)


def pytest_configure(config: pytest.Config) -> None:
    """Declare the marks of cases; with a testbed, set the plugin to work."""
    declare_marks(config)
    if config.getoption("--testbed") is not None:
        # Here and not above: an idle plugin must not cost every pytest run half a second.
        from qualify.plugin import running  # noqa: PLC0415

        config.pluginmanager.register(running, "qualify-running")
