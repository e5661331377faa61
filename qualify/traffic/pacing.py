"""When every frame is due: an absolute schedule, so that lateness never adds up."""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

from qualify.units import NS_PER_MS, NS_PER_S

# A sender that was stopped for longer does not make up for it: a burst at many times the rate
# could itself cause loss. The load offered is then less than intended, and is reported so.
LONGEST_CATCH_UP_NS = 50 * NS_PER_MS


@dataclass(frozen=True, slots=True)
class Slot:
    """The turn of a stream (its position in the list of rates) and when it is due."""

    stream: int
    due_ns: int


class Pacer:
    """Deals out the turns of all streams in order of time.

    Frame k of a stream is due at its start + k ÷ rate. The starts of n streams lie 1/n of an
    interval apart, so that equal streams interleave evenly.
    """

    def __init__(self, rates_pps: Sequence[int], *, start_ns: int) -> None:
        self._rates = tuple(rates_pps)
        self._starts = [
            start_ns + stream * NS_PER_S // (rate * len(rates_pps))
            for stream, rate in enumerate(rates_pps)
        ]
        self._taken = [0] * len(rates_pps)
        self._due = [(start, stream) for stream, start in enumerate(self._starts)]
        heapq.heapify(self._due)

    @property
    def next_due_ns(self) -> int:
        """When the next frame of any stream is due."""
        return self._due[0][0]

    def take(self, now_ns: int) -> Slot:
        """Take the next turn, which may be late; a stream that is far too late skips turns."""
        due_ns, stream = self._due[0]
        if now_ns - due_ns > LONGEST_CATCH_UP_NS:
            self._starts[stream] += now_ns - due_ns
        self._taken[stream] += 1
        following_ns = self._starts[stream] + self._taken[stream] * NS_PER_S // self._rates[stream]
        heapq.heapreplace(self._due, (following_ns, stream))
        return Slot(stream, due_ns)
