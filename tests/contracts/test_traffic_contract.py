"""What every traffic backend must do, run over ours; add a rig to run it over another.

One trial without a fault is run with each backend; the tests read what came of it. A backend that
takes its counts from another generator sees no frame, so only the tests of ``any_trial`` are
for it.
"""

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from qualify.clock import VirtualClock
from qualify.errors import TrafficError
from qualify.frames import number_frames
from qualify.measure.capture import Capture
from qualify.measure.counted import measure_capture
from qualify.plan.addressing import address_testbed
from qualify.plan.stream import Stream
from qualify.plan.streams import plan_streams
from qualify.simulation.simulation import Simulation
from qualify.site import Site
from qualify.testbed.testbed import Column, CountersFile
from qualify.traffic.backend import PortAccess, StreamCount, TrafficBackend
from qualify.traffic.counters import CountersTraffic
from qualify.traffic.ring_backend import RingTraffic
from qualify.traffic.scapy_backend import ScapyTraffic
from qualify.traffic.scapy_sockets import SendingPort
from qualify.traffic.simulated import SimulatedTraffic
from qualify.traffic.templates import build_templates
from tests.sample import CASE, TESTBED, image
from tests.traffic.live_bridge import bridge_lab, stream

RUN_ID = 0x51A1B2C3
STRAY_FRAMES = 20


@dataclass(frozen=True, slots=True)
class Rig:
    """A backend where it can work: its site, streams that lose nothing, and their ports.

    ``send_strays`` sends test frames of another run on the wire of the first stream; a backend
    without a wire has nothing to do. ``write_counts`` is called when the traffic has stopped, for a
    generator that tells its counts then.
    """

    backend: TrafficBackend
    site: Site
    streams: tuple[Stream, ...]
    ports: Mapping[str, PortAccess]
    send_strays: Callable[[], None]
    write_counts: Callable[[], None] = lambda: None

    def run_until(self, condition: Callable[[], bool]) -> None:
        """Let time pass, real or virtual, until the condition holds."""
        for _ in range(1_000):
            if condition():
                return
            self.site.clock.sleep(0.01)
        raise AssertionError("waited in vain")


@dataclass(frozen=True, slots=True)
class Trial:
    """What one trial gave, step by step."""

    streams: tuple[Stream, ...]
    early_complaint: str
    started_ns: int
    counts: tuple[tuple[StreamCount, ...], ...]
    stopped_ns: int
    counts_after_stop: tuple[tuple[StreamCount, ...], ...]
    captures: tuple[Capture, ...]
    second_captures: tuple[Capture, ...]


@contextmanager
def simulated_rig() -> Iterator[Rig]:
    clock = VirtualClock(1_000_000_000_000)
    simulation = Simulation(TESTBED, clock)
    simulation.boot("d1", image("5.1.0"))
    site = Site(TESTBED, clock, None, simulation)
    streams = plan_streams(TESTBED, CASE, address_testbed(TESTBED))
    yield Rig(SimulatedTraffic(site), site, streams, {}, send_strays=lambda: None)


@contextmanager
def bridge_rig(backend: Callable[[Site], TrafficBackend]) -> Iterator[Rig]:
    streams = (stream(0, "p1", "p2"), stream(1, "p2", "p1"), stream(2, "p3", "p4"))
    with bridge_lab() as bridge:
        site = bridge.site(inside=True)

        def send_strays() -> None:
            access = bridge.ports["p1"]
            templates = build_templates(streams[0], access, run_id=RUN_ID + 1)
            port = SendingPort(access.interface, access.namespace)
            for frame in number_frames(templates, first=0, count=STRAY_FRAMES):
                port.send(frame.tobytes())
            port.close()

        yield Rig(backend(site), site, streams, bridge.ports, send_strays)


@contextmanager
def counters_rig() -> Iterator[Rig]:
    clock = VirtualClock(1_000_000_000_000)
    streams = plan_streams(TESTBED, CASE, address_testbed(TESTBED))
    columns = {column: column.value for column in Column}
    with TemporaryDirectory() as folder:
        file = Path(folder) / "counts.csv"

        def write_counts() -> None:
            rows = [f"{each.path} {each.direction},300,300,0,0,0,0,0,0" for each in streams]
            file.write_text("\n".join([",".join(Column), *rows, ""]))
            os.utime(file, ns=(clock.now_ns(), clock.now_ns()))

        tester = replace(TESTBED.tester, counters=CountersFile(file, columns))
        site = Site(replace(TESTBED, tester=tester), clock, None, None)
        yield Rig(CountersTraffic(site), site, streams, {}, lambda: None, write_counts)


RIGS: dict[str, Callable[[], AbstractContextManager[Rig]]] = {
    "simulated": simulated_rig,
    "scapy": partial(bridge_rig, ScapyTraffic),
    "ring": partial(bridge_rig, RingTraffic),
    "counters": counters_rig,
}
WATCHING = [
    "simulated",
    pytest.param("scapy", marks=pytest.mark.live),
    pytest.param("ring", marks=pytest.mark.live),
]


@pytest.fixture(scope="module")
def trials() -> Callable[[str], Trial]:
    """Run one trial with a backend, the first time that it is asked for."""

    @cache
    def run(name: str) -> Trial:
        with RIGS[name]() as rig:
            return run_trial(rig)

    return run


@pytest.fixture(params=WATCHING)
def trial(request: pytest.FixtureRequest, trials: Callable[[str], Trial]) -> Trial:
    """The trial of a backend that sees every frame."""
    return trials(request.param)


@pytest.fixture(params=[*WATCHING, "counters"])
def any_trial(request: pytest.FixtureRequest, trials: Callable[[str], Trial]) -> Trial:
    """The trial of any backend."""
    return trials(request.param)


def run_trial(rig: Rig) -> Trial:
    backend, clock = rig.backend, rig.site.clock
    backend.close()
    try:
        backend.open(rig.streams, rig.ports, run_id=RUN_ID)
        with pytest.raises(TrafficError) as early:
            backend.counts()
        clock.sleep(0.2)
        started_ns = clock.now_ns()
        backend.start()
        counts = []
        for frames in (20, 60, 100):
            rig.run_until(lambda least=frames: received_by_all(backend, least))  # type: ignore[misc]
            counts.append(backend.counts())
            rig.send_strays()
        backend.stop()
        stopped_ns = clock.now_ns()
        rig.write_counts()
        clock.sleep(0.1)
        after_stop = [backend.counts()]
        clock.sleep(0.2)
        after_stop.append(backend.counts())
        captures = backend.collect()
        backend.close()
        second_captures = run_again(rig)
    finally:
        backend.close()
        backend.close()
    return Trial(
        rig.streams,
        str(early.value),
        started_ns,
        tuple(counts),
        stopped_ns,
        tuple(after_stop),
        captures,
        second_captures,
    )


def run_again(rig: Rig) -> tuple[Capture, ...]:
    rig.backend.open(rig.streams[:1], rig.ports, run_id=RUN_ID + 2)
    rig.backend.start()
    rig.run_until(lambda: received_by_all(rig.backend, 10))
    rig.backend.stop()
    rig.write_counts()
    rig.site.clock.sleep(0.1)
    return rig.backend.collect()


def received_by_all(backend: TrafficBackend, least: int) -> bool:
    """Tell whether so many frames arrived on each stream, as far as anybody watches."""
    return all(not each.watched or (each.received or 0) >= least for each in backend.counts())


def started_ns(capture: Capture) -> int:
    assert capture.transmission.started_ns is not None
    return capture.transmission.started_ns


def every_one_arrived_once(capture: Capture) -> bool:
    """Tell whether the numbers from 0 arrived, all that were sent, each once and in order."""
    arrivals, sent = capture.arrivals, capture.transmission.sent_frames
    others = arrivals.duplicate + arrivals.reordered + arrivals.undecidable + len(arrivals.gaps)
    return (arrivals.received, arrivals.next_expected, others) == (sent, sent, 0)


def test_nothing_can_be_counted_before_the_start(any_trial: Trial) -> None:
    assert any_trial.early_complaint == (
        "the streams were not started\n  fix: call start() before this"
    )


def test_nothing_leaves_before_the_start(trial: Trial) -> None:
    assert min(started_ns(capture) for capture in trial.captures) >= trial.started_ns


def test_there_is_one_capture_for_each_stream_and_it_says_which(any_trial: Trial) -> None:
    assert [
        (capture.stream, capture.rate_pps, capture.destinations) for capture in any_trial.captures
    ] == [(each.number, each.rate_pps, len(each.destinations)) for each in any_trial.streams]


def test_clean_traffic_gives_figures_without_a_fault(any_trial: Trial) -> None:
    for capture in any_trial.captures:
        figures = measure_capture(capture)
        assert (figures.lost, figures.duplicate, figures.reordered) == (0, 0, 0)
        assert figures.sent == figures.received >= 100


def test_counts_name_every_stream_in_order_and_what_nobody_watches_is_unknown(
    any_trial: Trial,
) -> None:
    for counts in (*any_trial.counts, *any_trial.counts_after_stop):
        assert [count.stream for count in counts] == [each.number for each in any_trial.streams]
        for count in counts:
            assert (count.sent is None) == (count.received is None)
            assert (count.last_received_ns is None) == (count.received is None)


def test_numbers_start_at_zero_and_every_one_arrives_once(trial: Trial) -> None:
    for capture in trial.captures:
        assert every_one_arrived_once(capture)
        assert capture.arrivals.received >= 100


def test_frames_leave_in_order_and_arrive_after_they_left(trial: Trial) -> None:
    for capture in trial.captures:
        assert (np.diff(capture.transmission.at_ns) > 0).all()
        assert (np.diff(capture.transmission.first) > 0).all()
        assert capture.arrivals.reordered == 0
        assert (capture.arrivals.max_delay_ns or 0) > 0


def test_a_tester_that_lost_nothing_says_so(any_trial: Trial) -> None:
    dropped = [capture.tester_dropped for capture in any_trial.captures]
    assert dropped == [0] * len(any_trial.streams)


def test_nothing_leaves_after_the_stop(trial: Trial) -> None:
    first, second = trial.counts_after_stop
    assert [count.sent for count in first] == [count.sent for count in second]
    assert [count.sent for count in first] == [
        each.transmission.sent_frames for each in trial.captures
    ]
    assert max(capture.transmission.ended_ns or 0 for capture in trial.captures) <= trial.stopped_ns


def test_counts_never_fall_and_come_in_the_order_of_the_streams(trial: Trial) -> None:
    readings = (*trial.counts, *trial.counts_after_stop)
    for earlier, later in pairwise(readings):
        assert [count.stream for count in later] == [each.number for each in trial.streams]
        for before, after in zip(earlier, later, strict=True):
            assert (after.sent or 0) >= (before.sent or 0) > 0
            assert (after.received or 0) >= (before.received or 0) > 0
            assert (after.last_received_ns or 0) >= (before.last_received_ns or 0) > 0


def test_clean_traffic_is_never_called_impaired_although_strays_arrive(trial: Trial) -> None:
    readings = (*trial.counts, *trial.counts_after_stop)
    assert {count.impaired_ns for counts in readings for count in counts} == {None}


def test_all_that_arrived_is_counted_when_traffic_has_come_to_rest(trial: Trial) -> None:
    received = [count.received for count in trial.counts_after_stop[-1]]
    assert received == [
        capture.arrivals.received + capture.arrivals.duplicate for capture in trial.captures
    ]


def test_a_backend_can_be_opened_again_and_numbers_start_at_zero_again(trial: Trial) -> None:
    (capture,) = trial.second_captures
    assert every_one_arrived_once(capture)
    assert capture.transmission.sent_frames >= 10
