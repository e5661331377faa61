"""Watching the traffic of a trial while it runs: is it clean, and for how long has it been?"""

from qualify.bench.bench import Bench
from qualify.bench.telling import Event
from qualify.errors import BenchError
from qualify.plan.stream import Stream
from qualify.plan.trial import TrialPlan
from qualify.traffic.backend import StreamCount
from qualify.units import NS_PER_MS, NS_PER_S

ARRIVAL_WITHIN_S = 10
POLL_S = 0.2
# A stream from which nothing has come for this long is interrupted, whatever the last number was.
SILENCE_NS = 500 * NS_PER_MS
_TELL_EVERY_NS = NS_PER_S


class TrafficWatch:
    """Polls the running counts of a trial and tells them about once a second."""

    def __init__(self, bench: Bench, trial: TrialPlan) -> None:
        self._bench = bench
        self._trial = trial
        self._streams = {stream.number: stream for stream in trial.streams}
        self._told_ns = 0

    def wait_for_arrivals(self) -> None:
        """Wait until something has arrived on every stream.

        Raises:
            BenchError: a stream stays silent.
        """
        clock = self._bench.site.clock
        deadline_ns = clock.now_ns() + ARRIVAL_WITHIN_S * NS_PER_S
        while silent := [each for each in self.poll() if self._is_silent(each)]:
            if clock.now_ns() >= deadline_ns:
                raise BenchError(
                    f"nothing arrives on {self._names(silent)} before the upgrade",
                    fix="check cables, addresses and forwarding; nothing was upgraded",
                )
            clock.sleep(POLL_S)

    def watch_steady(self) -> None:
        """Let clean traffic run for the trial's steady time.

        Raises:
            BenchError: a frame was lost, repeated or reordered: the bench is not fit.
        """
        clock = self._bench.site.clock
        end_ns = clock.now_ns() + self._trial.steady_ns
        while clock.now_ns() < end_ns:
            clock.sleep(POLL_S)
            now_ns = clock.now_ns()
            dirty = [each for each in self.poll() if self.impaired_ns(each, now_ns) is not None]
            if dirty:
                raise BenchError(
                    f"frames were lost, repeated or reordered on {self._names(dirty)} "
                    "before the upgrade",
                    fix="run the bench without an upgrade until it is clean; "
                    "this loss is not the device's outage",
                )

    def quiet_since_ns(self) -> int:
        """Return since when every stream has been clean; now, when one of them is not."""
        now_ns = self._bench.site.clock.now_ns()
        return max(self.impaired_ns(count, now_ns) or 0 for count in self.poll())

    def impaired_ns(self, count: StreamCount, now_ns: int) -> int | None:
        """Return when a stream was last impaired; ``None`` for never, or when nobody watches."""
        if not count.watched:
            return None
        interval_ns = NS_PER_S // self._streams[count.stream].rate_pps
        silence_ns = max(SILENCE_NS, 3 * interval_ns)
        if count.last_received_ns is None or now_ns - count.last_received_ns > silence_ns:
            return now_ns
        return count.impaired_ns

    def poll(self) -> tuple[StreamCount, ...]:
        """Read the running counts."""
        counts = self._bench.traffic.counts()
        now_ns = self._bench.site.clock.now_ns()
        if now_ns - self._told_ns >= _TELL_EVERY_NS:
            self._told_ns = now_ns
            self._bench.tell(Event(now_ns, "count", self._trial.name, "", counts))
        return counts

    @staticmethod
    def _is_silent(count: StreamCount) -> bool:
        return count.watched and count.last_received_ns is None

    def _names(self, counts: list[StreamCount]) -> str:
        streams: list[Stream] = [self._streams[count.stream] for count in counts]
        return ", ".join(f"{stream.path} {stream.direction}" for stream in streams)
