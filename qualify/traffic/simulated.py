"""Backend ``simulated``: perfect traffic in virtual time; what is lost, the simulation decides."""

from collections.abc import Mapping, Sequence

import numpy as np

from qualify.errors import TrafficError
from qualify.measure.arrivals import ArrivalAnalyser, Arrivals
from qualify.measure.capture import Capture, Transmission
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.simulation.simulation import Blackout
from qualify.site import Site
from qualify.traffic.backend import PortAccess, StreamCount
from qualify.units import NS_PER_S

# Forwarding delay of every frame; any constant does, since no delay is ever added.
DELAY_NS = 40_000
_PIECE = 1 << 16


class SimulatedTraffic:
    """Sends exactly at the rate and loses exactly what falls into a blackout."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._streams: tuple[Stream, ...] = ()
        self._started_ns: int | None = None
        self._stopped_ns: int | None = None
        self._transmissions: dict[tuple[int, int], Transmission] = {}

    @property
    def limit(self) -> Limit:
        """No limit: nothing is really sent."""
        return Limit(sent_pps=None, received_pps=None)

    def open(
        self, streams: Sequence[Stream], ports: Mapping[str, PortAccess], *, run_id: int
    ) -> None:
        """Remember the streams; see TrafficBackend."""
        del ports, run_id  # there is no wire
        self._streams = tuple(streams)
        self._started_ns = self._stopped_ns = None

    def start(self) -> None:
        """Start all streams now."""
        self._started_ns = self._site.clock.now_ns()

    def counts(self) -> tuple[StreamCount, ...]:
        """Count up to now; see TrafficBackend."""
        return tuple(map(self._count, self._streams))

    def stop(self) -> None:
        """Stop sending now."""
        self._stopped_ns = self._site.clock.now_ns()

    def collect(self) -> tuple[Capture, ...]:
        """Return what arrived; see TrafficBackend."""
        self._transmissions.clear()
        return tuple(map(self._capture, self._streams))

    def close(self) -> None:
        """Nothing was opened."""
        self._streams = ()

    def _start_ns(self) -> int:
        if self._started_ns is None:
            raise TrafficError("the streams were not started", fix="call start() before this")
        return self._started_ns

    def _frames(self, stream: Stream) -> int:
        until_ns = self._stopped_ns or self._site.clock.now_ns()
        return (until_ns - self._start_ns()) * stream.rate_pps // NS_PER_S

    def _blackouts(self, stream: Stream) -> tuple[Blackout, ...]:
        path = self._site.testbed.path(stream.path)
        simulation = self._site.in_simulation("the traffic backend 'simulated'")
        return simulation.blackouts(path, towards=path.ports.index(stream.receiver))

    def _count(self, stream: Stream) -> StreamCount:
        frames = self._frames(stream)
        losses = self._losses(stream, frames)
        lost = sum(map(len, losses))
        last = _last_outside(losses, frames - 1)
        return StreamCount(
            stream=stream.number,
            sent=frames,
            received=frames - lost,
            impaired_ns=self._arrival_ns(stream, losses[-1][-1]) if lost else None,
            last_received_ns=None if last < 0 else self._arrival_ns(stream, last),
        )

    def _losses(self, stream: Stream, frames: int) -> list[range]:
        """The numbers lost so far, as ranges in ascending order that do not overlap."""
        losses: list[range] = []
        for numbers in self._taken(stream, frames):
            first = max(numbers.start, losses[-1].stop) if losses else numbers.start
            if first < numbers.stop:
                losses.append(range(first, numbers.stop, numbers.step))
        return losses

    def _taken(self, stream: Stream, frames: int) -> list[range]:
        """The numbers that each blackout took so far, in order of the beginning."""
        return [
            range(
                self._first(stream, blackout.start_ns),
                min(frames, self._first(stream, blackout.end_ns)),
                blackout.every,
            )
            for blackout in self._blackouts(stream)
        ]

    def _arrival_ns(self, stream: Stream, number: int) -> int:
        return self._start_ns() + number * NS_PER_S // stream.rate_pps + DELAY_NS

    def _first(self, stream: Stream, at_ns: int) -> int:
        """Number of the first frame that leaves at that time or later."""
        return max(0, -(-(at_ns - self._start_ns()) * stream.rate_pps // NS_PER_S))

    def _capture(self, stream: Stream) -> Capture:
        frames = self._frames(stream)
        return Capture(
            stream=stream.number,
            rate_pps=stream.rate_pps,
            destinations=len(stream.destinations),
            transmission=self._transmission(stream.rate_pps, frames),
            arrivals=self._analyse(stream, frames),
            tester_dropped=0,
            longest_stall_ns=0,
        )

    def _transmission(self, rate_pps: int, frames: int) -> Transmission:
        """Lay out when each frame left; streams of one rate share it."""
        key = (rate_pps, frames)
        if key not in self._transmissions:
            numbers = np.arange(frames, dtype=np.int64)
            self._transmissions[key] = Transmission(
                frames, numbers, self._start_ns() + numbers * NS_PER_S // rate_pps
            )
        return self._transmissions[key]

    def _analyse(self, stream: Stream, frames: int) -> Arrivals:
        """Let the frames arrive piece by piece, without those that a blackout took."""
        sent_ns = self._transmission(stream.rate_pps, frames).at_ns
        taken = self._taken(stream, frames)
        analyser = ArrivalAnalyser()
        for start in range(0, frames, _PIECE):
            numbers = np.arange(start, min(frames, start + _PIECE), dtype=np.int64)
            delivered = np.ones(numbers.shape, dtype=np.bool_)
            for lost in taken:
                delivered[_within(lost, start=start)] = False
            arrived = numbers[delivered]
            left_ns = sent_ns[arrived]
            analyser.take(arrived.astype(np.uint32), left_ns, left_ns + DELAY_NS)
        return analyser.finish()


def _within(lost: range, *, start: int) -> slice:
    """Return the places of lost numbers in a piece that begins at this number."""
    skipped = max(0, -(-(start - lost.start) // lost.step))
    return slice(lost.start + skipped * lost.step - start, max(0, lost.stop - start), lost.step)


def _last_outside(losses: list[range], number: int) -> int:
    """The highest number up to this one that was not lost; below zero when there is none."""
    for numbers in reversed(losses):
        if number in numbers:
            number = numbers.start - 1 if numbers.step == 1 else number - 1
    return number
