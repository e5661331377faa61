"""Backend ``counters``: another generator sends; what it counted is read from a file."""

from collections.abc import Mapping, Sequence

from qualify.errors import TrafficError
from qualify.measure.capture import Capture
from qualify.measure.counted import capture_totals
from qualify.measure.totals import Totals
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.site import Site
from qualify.testbed.testbed import CountersFile
from qualify.traffic.backend import PortAccess, StreamCount
from qualify.traffic.counters_file import CountsRow, read_counts
from qualify.units import NS_PER_MS, NS_PER_S

# How long collect waits for somebody, or something, to write down the counts of this trial.
WAIT_FOR_FILE_S = 300
LOOK_S = 0.5
# A file system stamps a file with the time of the last tick of its clock.
_TICK_NS = 10 * NS_PER_MS


class CountersTraffic:
    """Sends nothing itself, and knows nothing while the traffic runs.

    The generator must send every stream of the case at its rate from ``start`` to ``stop``, and its
    counts must be written to the file after ``stop``: a file that is older holds the counts of
    another trial, so it is waited for.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._streams: tuple[Stream, ...] = ()
        self._started_ns: int | None = None
        self._stopped_ns: int | None = None

    @property
    def limit(self) -> Limit:
        """No limit that is known here: it is the generator's."""
        return Limit(sent_pps=None, received_pps=None)

    def open(
        self, streams: Sequence[Stream], ports: Mapping[str, PortAccess], *, run_id: int
    ) -> None:
        """Remember the streams; see TrafficBackend.

        Raises:
            TrafficError: the testbed does not say where the counts are.
        """
        del ports, run_id  # the frames are the generator's
        self._source()
        self._streams = tuple(streams)
        self._started_ns = self._stopped_ns = None

    def start(self) -> None:
        """Note the time; the generator is started by whoever has it."""
        self._started_ns = self._site.clock.now_ns()

    def counts(self) -> tuple[StreamCount, ...]:
        """Say of every stream that nothing is known; see TrafficBackend."""
        self._start_ns()
        return tuple(
            StreamCount(
                each.number, sent=None, received=None, impaired_ns=None, last_received_ns=None
            )
            for each in self._streams
        )

    def stop(self) -> None:
        """Note the time."""
        self._start_ns()
        self._stopped_ns = self._site.clock.now_ns()

    def collect(self) -> tuple[Capture, ...]:
        """Wait until the counts of this trial are written, and return them; see TrafficBackend.

        Raises:
            TrafficError: nobody writes them, or a stream is not among them.
        """
        stopped_ns = self._stopped_ns
        if stopped_ns is None:
            raise TrafficError("the streams were not stopped", fix="call stop() before this")
        running_ns = stopped_ns - self._start_ns()
        source = self._source()
        self._wait_for(source, since_ns=stopped_ns)
        rows = read_counts(source)
        missing = [_name(stream) for stream in self._streams if _name(stream) not in rows]
        if missing:
            raise TrafficError(
                f"there are no counts of {', '.join(missing)}",
                fix="name every stream by its path and direction, e.g. egp p5>p6",
                where=str(source.file),
            )
        return tuple(_capture(each, rows[_name(each)], running_ns) for each in self._streams)

    def close(self) -> None:
        """Nothing was opened."""
        self._streams = ()

    def _source(self) -> CountersFile:
        source = self._site.testbed.tester.counters
        if source is None:
            raise TrafficError(
                "nobody says where the counts of the generator are",
                fix="add counters: {file: …, columns: {…}} under tester",
                where=str(self._site.testbed.file),
            )
        return source

    def _start_ns(self) -> int:
        if self._started_ns is None:
            raise TrafficError("the streams were not started", fix="call start() before this")
        return self._started_ns

    def _wait_for(self, source: CountersFile, *, since_ns: int) -> None:
        """Wait for a file that was written since then and is not being written any more."""
        clock = self._site.clock
        deadline_ns = clock.now_ns() + WAIT_FOR_FILE_S * NS_PER_S
        seen_ns = None
        while clock.now_ns() < deadline_ns:
            written_ns = source.file.stat().st_mtime_ns if source.file.is_file() else 0
            if written_ns + _TICK_NS >= since_ns:
                if written_ns == seen_ns:
                    return
                seen_ns = written_ns
            clock.sleep(LOOK_S)
        raise TrafficError(
            f"nobody wrote the counts of this trial within {WAIT_FOR_FILE_S} s",
            fix="let the generator write the file after the traffic has stopped, then run again",
            where=str(source.file),
        )


def _capture(stream: Stream, row: CountsRow, running_ns: int) -> Capture:
    totals = Totals(
        sent=row.sent,
        received=row.received,
        lost=row.lost,
        duplicate=row.duplicate,
        reordered=row.reordered,
        loss_periods=row.loss_periods,
        longest_stall_ns=row.longest_stall_ns,
        running_ns=running_ns,
    )
    return capture_totals(
        totals,
        stream=stream.number,
        rate_pps=stream.rate_pps,
        destinations=len(stream.destinations),
        tester_dropped=row.tester_dropped,
    )


def _name(stream: Stream) -> str:
    return f"{stream.path} {stream.direction}"
