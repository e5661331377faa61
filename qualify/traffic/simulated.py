"""Backend ``simulated``: perfect traffic in virtual time; what is lost, the simulation decides."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from qualify.errors import TrafficError
from qualify.measure.capture import Capture
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.simulation.simulation import Blackout
from qualify.site import Site
from qualify.traffic.backend import PortAccess, StreamCount
from qualify.units import NS_PER_S

# Forwarding delay of every frame; any constant does, since no delay is ever added.
DELAY_NS = 40_000


class SimulatedTraffic:
    """Sends exactly at the rate and loses exactly what falls into a blackout."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._streams: tuple[Stream, ...] = ()
        self._started_ns: int | None = None
        self._stopped_ns: int | None = None

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

    def _sent_ns(self, stream: Stream) -> NDArray[np.int64]:
        numbers = np.arange(self._frames(stream), dtype=np.int64)
        return self._start_ns() + numbers * NS_PER_S // stream.rate_pps

    def _delivered(self, stream: Stream, sent_ns: NDArray[np.int64]) -> NDArray[np.bool_]:
        delivered = np.ones(sent_ns.shape, dtype=np.bool_)
        for blackout in self._blackouts(stream):
            inside = np.flatnonzero((sent_ns >= blackout.start_ns) & (sent_ns < blackout.end_ns))
            delivered[inside[:: blackout.every]] = False
        return delivered

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
        for blackout in self._blackouts(stream):
            first = self._first(stream, blackout.start_ns)
            end = min(frames, self._first(stream, blackout.end_ns))
            if losses:
                first = max(first, losses[-1].stop)
            if first < end:
                losses.append(range(first, end, blackout.every))
        return losses

    def _arrival_ns(self, stream: Stream, number: int) -> int:
        return self._start_ns() + number * NS_PER_S // stream.rate_pps + DELAY_NS

    def _first(self, stream: Stream, at_ns: int) -> int:
        """Number of the first frame that leaves at that time or later."""
        return max(0, -(-(at_ns - self._start_ns()) * stream.rate_pps // NS_PER_S))

    def _capture(self, stream: Stream) -> Capture:
        sent_ns = self._sent_ns(stream)
        received = np.flatnonzero(self._delivered(stream, sent_ns))
        return Capture(
            stream=stream.number,
            rate_pps=stream.rate_pps,
            destinations=len(stream.destinations),
            sent_ns=sent_ns,
            received=received,
            received_ns=sent_ns[received] + DELAY_NS,
            tester_dropped=0,
            longest_stall_ns=0,
        )


def _last_outside(losses: list[range], number: int) -> int:
    """The highest number up to this one that was not lost; below zero when there is none."""
    for numbers in reversed(losses):
        if number in numbers:
            number = numbers.start - 1 if numbers.step == 1 else number - 1
    return number
