"""The phases of a trial, said when they begin and kept with their times."""

from collections.abc import Iterator
from contextlib import contextmanager

from qualify.bench.bench import Bench
from qualify.measure.observation import PhaseSpan


class Phases:
    """Keeps the time of every phase, also of one that an error ended."""

    def __init__(self, bench: Bench, trial: str) -> None:
        self._bench = bench
        self._trial = trial
        self._spans: list[PhaseSpan] = []

    @contextmanager
    def phase(self, name: str) -> Iterator[int]:
        """Say that a phase begins, and keep its span; yields its start in ns."""
        clock = self._bench.site.clock
        start_ns = clock.now_ns()
        self._bench.say("phase", name, trial=self._trial)
        try:
            yield start_ns
        finally:
            self._spans.append(PhaseSpan(name, start_ns, clock.now_ns()))

    def spans(self) -> tuple[PhaseSpan, ...]:
        """Return the phases so far, in order."""
        return tuple(self._spans)
