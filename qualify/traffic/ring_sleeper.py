"""Waking up on time although a sleeping processor takes long to come back."""

import time

from qualify.units import NS_PER_S

_NAP_S = 1e-6
_LONGEST_MARGIN_NS = 200_000
_SLOWNESS = 16
_FORGETFULNESS = 1_024


class Sleeper:
    """Sleeps until shortly before the time, and naps over the rest.

    A processor that has gone idle comes back some 50 µs late, one that only naps for a microsecond
    does not go idle. How late on average, is learned from every sleep. Others get little of the
    processor between the naps, so ``naps`` is for a machine on which nobody else has to work.
    """

    def __init__(self, *, naps: bool) -> None:
        self._naps = naps
        self._late_ns = 0

    @property
    def margin_ns(self) -> int:
        """How long before the time a sleep ends."""
        return min(self._late_ns, _LONGEST_MARGIN_NS) if self._naps else 0

    def sleep_until(self, at_ns: int) -> None:
        """Return at that time of CLOCK_MONOTONIC, or at once when it has passed."""
        now_ns = time.monotonic_ns()
        if now_ns >= at_ns:
            return
        wanted_ns = at_ns - now_ns - self.margin_ns
        if wanted_ns > 0:
            time.sleep(wanted_ns / NS_PER_S)
            self._learn(time.monotonic_ns() - now_ns - wanted_ns)
        else:
            # Without a sleep nothing is learned, and a bad moment must not be remembered for ever.
            self._late_ns -= self._late_ns // _FORGETFULNESS
        while time.monotonic_ns() < at_ns:
            time.sleep(_NAP_S)

    def _learn(self, late_ns: int) -> None:
        self._late_ns += (late_ns - self._late_ns) // _SLOWNESS
