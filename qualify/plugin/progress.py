"""What a person sees while a trial runs: the phases, and live counts on a terminal."""

import pytest

from qualify.bench.telling import Event
from qualify.plan.trial import Plan
from qualify.units import NS_PER_S, format_count


class Progress:
    """Writes past pytest's capture to its terminal.

    On a terminal the running counts stand in one line that is written over; elsewhere (a log of
    a CI system) each phase is one line. Silent with ``-q``.
    """

    def __init__(self, config: pytest.Config, plan: Plan) -> None:
        self._config = config
        self._steps = {trial.name: trial.steady_ns // NS_PER_S for trial in plan.trials}
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
            if terminal.isatty:
                terminal.rewrite(self._counts(event), erase=True)
            return
        if event.kind == "phase":
            self._phase, self._phase_ns = event.words, event.at_ns
        terminal.ensure_newline()
        terminal.write_line(f"  {event.trial or 'bench'}: {event.words}")

    def _counts(self, event: Event) -> str:
        elapsed_s = (event.at_ns - self._phase_ns) // NS_PER_S
        wanted_s = self._steps.get(event.trial)
        of = f" of {wanted_s}" if self._phase == "steady" and wanted_s else ""
        sent = sum(count.sent for count in event.counts)
        received = sum(count.received for count in event.counts)
        return (
            f"  {event.trial}: {self._phase} {elapsed_s}{of} s, "
            f"sent {format_count(sent)}, received {format_count(received)}"
        )
