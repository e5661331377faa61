"""Which rate to try next: doubled until frames are lost, halved until none are, then between."""

# A rate is found when the next lossy one is not more than this fraction above it.
_CLOSE_ENOUGH = 8


class RateSearch:
    """Searches the highest rate without loss, from what is said about the rates tried so far.

    Args:
        first_pps: the rate to begin with.
        least_pps: below this nobody looks.
        most_pps: above this nobody looks; ``None`` for no such bound.
    """

    def __init__(self, *, first_pps: int, least_pps: int, most_pps: int | None) -> None:
        self._first = first_pps
        self._least = least_pps
        self._most = most_pps
        self._clean: int | None = None
        self._lossy: int | None = None

    @property
    def best_pps(self) -> int | None:
        """The highest rate below every lossy one that was clean; ``None`` when none was."""
        return self._clean

    @property
    def next_pps(self) -> int | None:
        """The rate to try next; ``None`` when the search is over."""
        if self._clean is None and self._lossy is None:
            return self._first
        if self._lossy is None:
            return self._above(self._clean or self._first)
        if self._clean is None:
            return max(self._lossy // 2, self._least) if self._lossy > self._least else None
        if self._lossy - self._clean <= self._clean // _CLOSE_ENOUGH:
            return None
        return (self._clean + self._lossy) // 2

    def note(self, rate_pps: int, *, clean: bool) -> None:
        """Take in how the rate that was to be tried next went."""
        if clean:
            self._clean = rate_pps
        else:
            self._lossy = rate_pps

    def _above(self, clean: int) -> int | None:
        doubled = 2 * clean if self._most is None else min(2 * clean, self._most)
        return doubled if doubled > clean else None
