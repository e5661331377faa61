"""When the frames of a stream are due, and how far behind its sender is."""

from qualify.units import NS_PER_MS, NS_PER_S

# A sender that stood still for longer does not make up for all of it: a burst at many times the
# rate could itself cause loss. The load offered is then less than intended, and is reported so.
LONGEST_CATCH_UP_NS = 5 * NS_PER_MS
# A call that is later than this, and than one interval of the stream, is a stall.
STALL_NS = NS_PER_MS


class Schedule:
    """Frame k of a stream is due at its start + k ÷ rate: lateness never adds up."""

    def __init__(self, rate_pps: int) -> None:
        self._rate_pps = rate_pps
        self._stall_ns = max(STALL_NS, -(-NS_PER_S // rate_pps))
        self._start_ns = 0
        self._turns = 0
        self.next_due_ns = 0
        self.skipped = 0
        self.late = 0
        self.latest_ns = 0
        self.latest_at_ns: int | None = None

    def start(self, at_ns: int) -> None:
        """Let the first frame be due at that time."""
        self._start_ns = self.next_due_ns = at_ns

    def due(self, now_ns: int) -> int:
        """Return how many turns have come; some may be late, and far too late ones are skipped."""
        late_ns = now_ns - self.next_due_ns
        if late_ns < 0:
            return 0
        if late_ns > self._stall_ns:
            self.late += 1
            if late_ns > LONGEST_CATCH_UP_NS:
                self._skip(late_ns - LONGEST_CATCH_UP_NS)
        if late_ns > self.latest_ns:
            self.latest_ns, self.latest_at_ns = late_ns, now_ns
        return (now_ns - self._start_ns) * self._rate_pps // NS_PER_S + 1 - self._turns

    def take(self, turns: int) -> None:
        """Note that so many turns were used."""
        self._turns += turns
        self.next_due_ns = self._start_ns + -(-self._turns * NS_PER_S // self._rate_pps)

    def _skip(self, late_ns: int) -> None:
        turns = late_ns * self._rate_pps // NS_PER_S
        self.skipped += turns
        self.take(turns)
