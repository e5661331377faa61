"""A hundred outages from 0.1 ms to 50 ms: what the tester counts against what the kernel counts.

Each window is made in the device by a rule of its kernel that looks at the clock for every frame;
the counter of that rule is the true loss.
"""

import time
from collections.abc import Iterator

import pytest

from qualify.lab.blackout import LEAST_AHEAD_NS, Blackout
from qualify.measure.figures import LossPeriod
from qualify.measure.stream import measure_stream
from qualify.plan.limit import Limit
from qualify.traffic.ring_backend import RingTraffic
from tests.traffic.live_bridge import Bridge, bridge_lab, stream

pytestmark = pytest.mark.live

WINDOWS = 100
SHORTEST_NS, LONGEST_NS = 100_000, 50_000_000
STREAM = stream(0, "p1", "p2", rate_pps=50_000)
# What comes back teaches the bridge where the hosts are; else it floods, and counts every copy.
BACK = stream(1, "p2", "p1", rate_pps=100)
AHEAD_NS = LEAST_AHEAD_NS + 50_000_000
AFTER_NS = 30_000_000
# A frame is stamped before it is handed over, and reaches the rule a moment later; windows lie much
# further apart than this.
EDGE_NS = 40_000_000


@pytest.fixture(scope="module")
def bridge() -> Iterator[Bridge]:
    with bridge_lab() as built:
        yield built


def durations_ns() -> list[int]:
    """From the shortest to the longest, each the same factor longer than the one before."""
    factor = (LONGEST_NS / SHORTEST_NS) ** (1 / (WINDOWS - 1))
    return [round(SHORTEST_NS * factor**number) for number in range(WINDOWS)]


def black_out(bridge: Bridge, duration_ns: int) -> tuple[int, int, int]:
    """Make one window; return its true edges and the kernel's count of the frames it cost."""
    blackout = Blackout(bridge.lab.namespace("d1"), bridge.lab.programs)
    start_ns = time.time_ns() + AHEAD_NS
    first, end = blackout.arm(start_ns=start_ns, end_ns=start_ns + duration_ns, ports=("e1",))
    time.sleep((end + AFTER_NS - time.time_ns()) / 1e9)
    return first, end, blackout.lift()


def test_what_is_lost_in_each_blackout_is_what_the_kernel_counted(bridge: Bridge) -> None:
    backend = RingTraffic(bridge.site(inside=True), limit=Limit(None, None))
    try:
        backend.open([STREAM, BACK], bridge.ports, run_id=0x0B1AC0)
        backend.start()
        time.sleep(1)
        truths = [black_out(bridge, duration_ns) for duration_ns in durations_ns()]
        backend.stop()
        time.sleep(0.5)
        capture, _ = backend.collect()
    finally:
        backend.close()
    figures = measure_stream(capture)

    assert figures.tester_dropped == 0
    assert figures.lost == sum(counted for _, _, counted in truths)
    lost_in_each = [lost_within(figures.loss_periods, first, end) for first, end, _ in truths]
    assert lost_in_each == [counted for _, _, counted in truths]
    # A short window can fall between two calls of the sender; a long one cannot.
    assert all(counted for first, end, counted in truths if end - first > LONGEST_NS // 2)


def lost_within(periods: tuple[LossPeriod, ...], first_ns: int, end_ns: int) -> int:
    """Count the frames of the loss periods that began in a window, or at its very edge."""
    return sum(
        period.lost_frames
        for period in periods
        if first_ns - EDGE_NS <= period.started_ns < end_ns + EDGE_NS
    )
