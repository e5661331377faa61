"""What is seen while a trial runs, on a terminal and in a log."""

import io

import pytest

from qualify.bench.telling import Event
from qualify.plan.limit import Limit
from qualify.plan.planner import plan_run
from qualify.plugin.progress import Progress
from qualify.traffic.backend import StreamCount
from tests.sample import CASE, TESTBED, image

SECOND = 1_000_000_000
TRIAL = "mixed-one-tier-trial1"
COUNTS = (StreamCount(0, 1_200, 1_150, None, None), StreamCount(1, 1_200, 1_200, None, None))
EVENTS = (
    Event(0, "bench", "", "open quay-one-tier (simulated)"),
    Event(0, "phase", TRIAL, "check"),
    Event(1 * SECOND, "phase", TRIAL, "steady"),
    Event(7 * SECOND, "count", TRIAL, "", COUNTS),
    Event(16 * SECOND, "phase", TRIAL, "recover"),
    Event(18 * SECOND, "count", TRIAL, "", COUNTS),
    Event(20 * SECOND, "verdict", TRIAL, "pass"),
)


class Screen(io.StringIO):
    """A stream that calls itself a terminal, or does not."""

    def __init__(self, *, terminal: bool) -> None:
        super().__init__()
        self._terminal = terminal

    def isatty(self) -> bool:
        """Answer as told."""
        return self._terminal


def shown(
    pytestconfig: pytest.Config,
    *,
    terminal: bool,
    with_capture: bool = True,
    events: tuple[Event, ...] = EVENTS,
) -> str:
    screen = Screen(terminal=terminal)
    config = pytestconfig
    progress = Progress(config, PLAN)
    reporter = pytest.TerminalReporter(config, screen)
    found = {
        "terminalreporter": reporter,
        "capturemanager": config.pluginmanager.get_plugin("capturemanager")
        if with_capture
        else None,
    }
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(config.pluginmanager, "get_plugin", found.get)
        patch.setattr(config.option, "verbose", 0)
        for event in events:
            progress(event)
    return screen.getvalue()


PLAN = plan_run(
    TESTBED, [CASE], target=image("5.2.0"), source=image("5.1.0"), limit=Limit(None, None)
)


@pytest.mark.parametrize("with_capture", [True, False])
def test_a_log_gets_one_line_for_each_trial(
    pytestconfig: pytest.Config, *, with_capture: bool
) -> None:
    assert shown(pytestconfig, terminal=False, with_capture=with_capture).splitlines() == [
        "  bench: open quay-one-tier (simulated)",
        f"  {TRIAL}: check steady recover pass",
    ]


def test_a_terminal_shows_the_running_counts_in_one_line(pytestconfig: pytest.Config) -> None:
    lines = shown(pytestconfig, terminal=True).replace("\r", "\n").splitlines()

    assert [line.rstrip() for line in lines if TRIAL in line][-5:] == [
        f"  {TRIAL}: steady",
        f"  {TRIAL}: steady 6 of 15 s, sent 2 400, received 2 350",
        f"  {TRIAL}: recover",
        f"  {TRIAL}: recover 2 s, sent 2 400, received 2 350",
        f"  {TRIAL}: pass",
    ]


def test_counts_that_nobody_takes_while_traffic_runs_are_unknown(
    pytestconfig: pytest.Config,
) -> None:
    unwatched = (StreamCount(0, None, None, None, None),)
    events = (EVENTS[2], Event(7 * SECOND, "count", TRIAL, "", unwatched))

    text = shown(pytestconfig, terminal=True, events=events)

    assert "steady 6 of 15 s, sent unknown, received unknown" in text
