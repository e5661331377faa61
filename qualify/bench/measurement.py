"""Traffic without an upgrade: the streams of all paths of a testbed, sent and counted."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from qualify.bench.bench import Bench
from qualify.bench.readiness import wait_until_ready
from qualify.bench.trial import FORWARDING_DELAY_THRESHOLD_S
from qualify.clock import Clock
from qualify.errors import FileError, MeasurementError, PlanError
from qualify.measure.capture import Capture
from qualify.measure.counted import measure_capture
from qualify.measure.figures import StreamFigures
from qualify.plan.limit import Limit
from qualify.plan.planner import PlanRefusedError, plan_run
from qualify.plan.stream import Stream
from qualify.plan.trial import Plan
from qualify.testbed.case import Case, NeighborBudget, Order, RouteBudget, StreamSpec
from qualify.testbed.image_file import find_image, read_images
from qualify.testbed.testbed import Testbed
from qualify.traffic.backend import PortAccess, StreamCount, TrafficBackend
from qualify.units import NS_PER_S

FRAME_OCTETS = 128
# Traffic must end within 100 ms of the wish that it does; a backend needs some of that itself.
LOOK_S = 0.02
WATCH_EVERY_NS = NS_PER_S // 2


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a measurement is: the time since the start, and the running counts."""

    elapsed_ns: int
    counts: tuple[StreamCount, ...]


@dataclass(frozen=True, slots=True)
class MeasuredStream:
    """What came of one stream; ``figures`` is ``None`` when it contradicts itself: ``problem``."""

    stream: Stream
    capture: Capture
    figures: StreamFigures | None
    problem: str

    @property
    def clean(self) -> bool:
        """Tell whether all that was sent arrived, once and in order, and the tester dropped none.

        A tester that cannot count its own drops cannot say so.
        """
        figures = self.figures
        return (
            figures is not None
            and figures.sent > 0
            and (figures.lost, figures.duplicate, figures.reordered) == (0, 0, 0)
            and figures.tester_dropped == 0
        )


def plan_measurement(testbed: Testbed, *, rate_pps: int, limit: Limit) -> Plan:
    """Plan traffic on all paths of a testbed, on the release that its devices start from.

    Raises:
        PlanError: the rate is beyond the backend or the machine.
        FileError: the devices start from different releases, or there is no such image.
    """
    images = read_images(testbed.images)
    source = find_image(testbed, release=_common_release(testbed), images=images)
    try:
        return plan_run(
            testbed,
            [_all_paths(testbed, rate_pps)],
            target=source,
            source=source,
            limit=limit,
        )
    except PlanRefusedError as refused:
        reason = refused.reasons[0]
        raise PlanError(reason.problem, fix=reason.fix, where="--rate") from refused


def measure_bench(
    bench: Bench,
    *,
    seconds: float,
    watch: Callable[[Progress], None],
    stopped: Callable[[], bool],
) -> tuple[MeasuredStream, ...]:
    """Send the streams of the bench's plan for a while and measure them.

    Args:
        bench: a bench of ``plan_measurement`` that is ready, see ``make_ready``.
        seconds: how long to send.
        watch: told of the running counts, twice a second.
        stopped: asked 50 times a second whether to stop sending at once.
    """
    return run_streams(
        bench.traffic,
        bench.plan.trials[0].streams,
        bench.ports(),
        run_id=bench.run_id,
        waiting=Waiting(bench.site.clock, seconds, FORWARDING_DELAY_THRESHOLD_S, watch, stopped),
    )


def make_ready(bench: Bench) -> None:
    """Wait until the devices and peers of a measurement are up.

    Raises:
        BenchError: something is still missing after a fair wait; all of it is named.
    """
    wait_until_ready(bench, bench.plan.trials[0])


@dataclass(frozen=True, slots=True)
class Waiting:
    """How long streams run and how long is waited for the last frames, and who is told or asked."""

    clock: Clock
    seconds: float
    drain_s: float
    watch: Callable[[Progress], None]
    stopped: Callable[[], bool]

    def let_run(self, traffic: TrafficBackend) -> None:
        """Return when the time is over or somebody wants to stop."""
        start_ns = self.clock.now_ns()
        end_ns = start_ns + round(self.seconds * NS_PER_S)
        watched_ns = start_ns
        while (now_ns := self.clock.now_ns()) < end_ns and not self.stopped():
            if now_ns - watched_ns >= WATCH_EVERY_NS:
                watched_ns = now_ns
                self.watch(Progress(now_ns - start_ns, traffic.counts()))
            self.clock.sleep(min(LOOK_S, (end_ns - now_ns) / NS_PER_S))


def run_streams(
    traffic: TrafficBackend,
    streams: Sequence[Stream],
    ports: Mapping[str, PortAccess],
    *,
    run_id: int,
    waiting: Waiting,
) -> tuple[MeasuredStream, ...]:
    """Open a backend, run the streams, and measure what came of them; the backend is closed."""
    try:
        traffic.open(streams, ports, run_id=run_id)
        traffic.start()
        try:
            waiting.let_run(traffic)
        finally:
            traffic.stop()
        waiting.clock.sleep(waiting.drain_s)
        captures = {capture.stream: capture for capture in traffic.collect()}
    finally:
        traffic.close()
    return tuple(_measure(stream, captures[stream.number]) for stream in streams)


def _measure(stream: Stream, capture: Capture) -> MeasuredStream:
    try:
        return MeasuredStream(stream, capture, measure_capture(capture), "")
    except MeasurementError as error:
        return MeasuredStream(stream, capture, None, error.problem)


def _all_paths(testbed: Testbed, rate_pps: int) -> Case:
    """The question that a measurement asks: none, so it sets no budget."""
    return Case(
        name="measure",
        paths=tuple(path.name for path in testbed.paths),
        tiers=testbed.tiers,
        order=Order.SIMULTANEOUS,
        trials=1,
        stream=StreamSpec(offered_load_pps=rate_pps, frame_octets=FRAME_OCTETS),
        budgets={},
        neighbors=NeighborBudget(flaps=0, graceful_restarts_allowed=True),
        routes=RouteBudget(lost=0),
        file=testbed.file,
        sha256=testbed.sha256,
    )


def _common_release(testbed: Testbed) -> str:
    releases = sorted({dut.release for dut in testbed.duts})
    if len(releases) > 1:
        raise FileError(
            f"the devices start from different releases: {', '.join(releases)}",
            fix="write the same release for all of them",
            where=f"{testbed.file} duts",
        )
    return releases[0]
