"""What a person sees while a trial runs: its phases, and live counts on a terminal."""

import pytest

from qualify.bench.telling import Event
from qualify.plan.trial import Plan
from qualify.traffic.backend import total_received, total_sent
from qualify.units import NS_PER_S, format_count


class Progress:
    """Writes past pytest's capture to its terminal, one line for each trial.

    On a terminal the line is written over with the running counts; elsewhere (the log of a CI
    system) each phase is added to it when it begins. Silent with ``-q``.
    """

    def __init__(self, config: pytest.Config, plan: Plan) -> None:
        self._config = config
        self._steady_s = {trial.name: trial.steady_ns // NS_PER_S for trial in plan.trials}
        self._trial = ""
        self._phase = ""
        self._phase_ns = 0

    def __call__(self, event: Event) -> None:
        """Show an event."""
        terminal = self._config.pluginmanager.get_plugin("terminalreporter")
        if terminal is None or self._config.get_verbosity() < 0:
            return
        capture = self._config.pluginmanager.get_plugin("capturemanager")
        if capture is None:
            self._show(event, terminal)
            return
        with capture.global_and_fixture_disabled():
            self._show(event, terminal)

    def _show(self, event: Event, terminal: pytest.TerminalReporter) -> None:
        if event.kind == "count":
            self._show_counts(event, terminal)
        elif event.kind == "phase":
            self._show_phase(event, terminal)
        elif event.kind == "verdict":
            self._show_step(event, terminal)
            terminal.write_line("")
        else:
            terminal.ensure_newline()
            terminal.write_line(f"  {event.trial or 'bench'}: {event.words}")
            self._trial = ""

    def _show_phase(self, event: Event, terminal: pytest.TerminalReporter) -> None:
        self._phase, self._phase_ns = event.words, event.at_ns
        if event.trial != self._trial:
            self._trial = event.trial
            terminal.ensure_newline()
            terminal.write(f"  {event.trial}:", flush=True)
        self._show_step(event, terminal)

    def _show_step(self, event: Event, terminal: pytest.TerminalReporter) -> None:
        if terminal.isatty:
            terminal.rewrite(f"  {event.trial}: {event.words}", erase=True)
        else:
            terminal.write(f" {event.words}", flush=True)

    def _show_counts(self, event: Event, terminal: pytest.TerminalReporter) -> None:
        if not terminal.isatty:
            return
        elapsed_s = (event.at_ns - self._phase_ns) // NS_PER_S
        of = f" of {self._steady_s[event.trial]}" if self._phase == "steady" else ""
        sent, received = total_sent(event.counts), total_received(event.counts)
        terminal.rewrite(
            f"  {event.trial}: {self._phase} {elapsed_s}{of} s, "
            f"sent {_count(sent)}, received {_count(received)}",
            erase=True,
        )


def _count(number: int | None) -> str:
    return "unknown" if number is None else format_count(number)
