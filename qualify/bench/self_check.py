"""The tester by itself: its ports joined to each other, and what it then sends without loss."""

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Protocol

import numpy as np

from qualify.bench.measurement import (
    FRAME_OCTETS,
    MeasuredStream,
    Waiting,
    plan_measurement,
    run_streams,
)
from qualify.bench.plugs import open_traffic
from qualify.bench.rate_search import RateSearch
from qualify.clock import Clock, RealClock
from qualify.errors import BenchError
from qualify.lab.patch import Patch
from qualify.measure.capture import Capture
from qualify.measure.outage import find_interval
from qualify.plan.capability import Capability
from qualify.plan.limit import Limit
from qualify.plan.stream import Stream
from qualify.site import Site
from qualify.testbed.testbed import BenchKind, Testbed
from qualify.traffic.backend import PortAccess, TrafficBackend
from qualify.units import NS_PER_S

LEAST_PPS = 50
FIRST_PPS = 10_000
SEARCH_STEP_S = 2.0
CONFIRM_S = 5.0
DRAIN_S = 0.5
# No new step of the search, and no further attempt to confirm, begins after these times.
SEARCH_FOR_NS = 24 * NS_PER_S
CONFIRM_FOR_NS = 48 * NS_PER_S
# A sender that offers less than this share of its load is not sending at that rate.
LEAST_OFFERED_PERCENT = 98


@dataclass(frozen=True, slots=True)
class Step:
    """One rate that was tried; ``complaint`` says what was wrong, empty when nothing was."""

    rate_pps: int
    seconds: float
    complaint: str
    longest_stall_ns: int
    p99_stall_ns: int


@dataclass(frozen=True, slots=True)
class SelfCheck:
    """What came of a self-check; ``capability`` is ``None`` when not even the lowest rate went.

    ``capped`` tells that the backend itself allows no more than what was reached.
    """

    capability: Capability | None
    capped: bool


class Frames(Protocol):
    """Sends the streams at a rate for a time: the only thing that a search needs."""

    def __call__(self, rate_pps: int, seconds: float) -> tuple[MeasuredStream, ...]:
        """Return what came of the streams."""
        ...


def check_tester(testbed: Testbed, *, tell: Callable[[Step], None]) -> SelfCheck:
    """Find out what this machine can send with the testbed's backend, in less than a minute.

    The tester ports of every path are joined to each other, in namespaces of their own; the
    device, its peers and its cables have no part in it.

    Args:
        testbed: names the backend, the ports and the paths.
        tell: told of every step when it is done.

    Raises:
        BenchError: the backend sends nothing that a cable could carry.
        LabError: the machine does not allow namespaces.
    """
    if testbed.kind is BenchKind.SIMULATED:
        raise BenchError(
            "a simulated testbed sends no frames, so there is nothing to check",
            fix="name a testbed whose traffic backend sends frames, "
            "e.g. testbeds/virtual-one-tier.yaml",
            where=str(testbed.file),
        )
    clock = RealClock()
    traffic = open_traffic(Site(testbed, clock, None, None))
    streams = _streams(testbed)
    with Patch([path.ports for path in testbed.paths]) as patch:
        ports = {name: _access(patch, name) for name in patch.ports}

        def send(rate_pps: int, seconds: float) -> tuple[MeasuredStream, ...]:
            return _send(traffic, _at_rate(streams, rate_pps), ports, clock, seconds)

        found = find_rate(
            send, clock=clock, most_pps=_most_pps(traffic.limit, len(streams)), tell=tell
        )
    if found is None:
        return SelfCheck(None, capped=False)
    capability = Capability(
        backend=testbed.tester.traffic,
        measured_on=datetime.now(UTC).date().isoformat(),
        streams=len(streams),
        frame_octets=FRAME_OCTETS,
        rate_pps=found.rate_pps,
        longest_stall_ns=found.longest_stall_ns,
        p99_stall_ns=found.p99_stall_ns,
    )
    return SelfCheck(capability, capped=found.rate_pps == _most_pps(traffic.limit, len(streams)))


def find_rate(
    send: Frames, *, clock: Clock, most_pps: int | None, tell: Callable[[Step], None]
) -> Step | None:
    """Search for the highest rate that arrives whole, then confirm it over a longer time.

    Returns:
        The step that confirmed it; ``None`` when there is no such rate.
    """
    start_ns = clock.now_ns()

    def attempt(rate_pps: int, seconds: float) -> Step:
        step = _judge(rate_pps, seconds, send(rate_pps, seconds))
        tell(step)
        return step

    # The first frames on a fresh cable may find the other end not up yet, so they do not count.
    send(LEAST_PPS, DRAIN_S)
    search = RateSearch(first_pps=most_pps or FIRST_PPS, least_pps=LEAST_PPS, most_pps=most_pps)
    while search.next_pps is not None and clock.now_ns() - start_ns < SEARCH_FOR_NS:
        step = attempt(search.next_pps, SEARCH_STEP_S)
        search.note(step.rate_pps, clean=not step.complaint)
    rate_pps = search.best_pps
    while rate_pps and clock.now_ns() - start_ns < CONFIRM_FOR_NS:
        confirmed = attempt(rate_pps, CONFIRM_S)
        if not confirmed.complaint:
            return confirmed
        rate_pps = rate_pps * 2 // 3
    return None


def _judge(rate_pps: int, seconds: float, measured: tuple[MeasuredStream, ...]) -> Step:
    stalls_ns = [_stalls_ns(each.capture) for each in measured]
    return Step(
        rate_pps=rate_pps,
        seconds=seconds,
        complaint=next(filter(None, (_complaint(each, rate_pps) for each in measured)), ""),
        longest_stall_ns=max(longest for longest, _ in stalls_ns),
        p99_stall_ns=max(p99 for _, p99 in stalls_ns),
    )


def _complaint(measured: MeasuredStream, rate_pps: int) -> str:
    """Say what was wrong with a stream; empty when it was clean and really had its rate."""
    name = f"{measured.stream.path} {measured.stream.direction}"
    figures = measured.figures
    if figures is None:
        return f"{name}: {measured.problem}"
    if not measured.clean:
        dropped = "unknown" if figures.tester_dropped is None else figures.tester_dropped
        return (
            f"{name}: of {figures.sent} frames {figures.lost} lost, {figures.duplicate} repeated, "
            f"{figures.reordered} reordered; dropped by the tester: {dropped}"
        )
    offered_pps = figures.offered_pps or 0.0
    if offered_pps * 100 < rate_pps * LEAST_OFFERED_PERCENT:
        return f"{name}: only {offered_pps:.0f} frames/s were sent"
    return ""


def _stalls_ns(capture: Capture) -> tuple[int, int]:
    """Return by how much longer than one interval the pauses between frames were: longest, p99."""
    pauses_ns = np.diff(capture.transmission.at_ns)
    if not pauses_ns.size:
        return 0, 0
    interval_ns = int(find_interval(capture.rate_pps))
    # The higher neighbor, never a value in between: nothing rounds in the tester's favour.
    p99_ns = int(np.percentile(pauses_ns, 99, method="higher"))
    return max(0, int(pauses_ns.max()) - interval_ns), max(0, p99_ns - interval_ns)


def _send(
    traffic: TrafficBackend,
    streams: tuple[Stream, ...],
    ports: Mapping[str, PortAccess],
    clock: Clock,
    seconds: float,
) -> tuple[MeasuredStream, ...]:
    waiting = Waiting(clock, seconds, DRAIN_S, lambda _: None, lambda: False)
    return run_streams(traffic, streams, ports, run_id=secrets.randbits(32), waiting=waiting)


def _streams(testbed: Testbed) -> tuple[Stream, ...]:
    """The streams of all paths, as a trial would send them; their rate is set for each step."""
    plan = plan_measurement(testbed, rate_pps=LEAST_PPS, limit=Limit(None, None))
    return plan.trials[0].streams


def _at_rate(streams: tuple[Stream, ...], rate_pps: int) -> tuple[Stream, ...]:
    return tuple(replace(stream, rate_pps=rate_pps) for stream in streams)


def _most_pps(limit: Limit, streams: int) -> int | None:
    """The most that the backend allows on each stream."""
    return None if limit.most_pps is None else limit.most_pps // streams


def _access(patch: Patch, name: str) -> PortAccess:
    cable = patch.port_access(name)
    return PortAccess(cable.interface, cable.mac, cable.gateway_mac, cable.namespace)
