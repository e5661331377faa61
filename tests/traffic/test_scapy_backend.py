"""What the backend refuses, and how it looks at what the workers tell."""

from dataclasses import replace
from pathlib import Path, PurePosixPath

import pytest

from qualify.clock import RealClock
from qualify.errors import TrafficError
from qualify.site import Site
from qualify.traffic.backend import PortAccess
from qualify.traffic.scapy_backend import ScapyTraffic, _as_seen, _sum_known, _without
from tests.sample import TESTBED
from tests.traffic.live_bridge import stream

SITE = Site(TESTBED, RealClock(), None, None)
PORTS = {
    name: PortAccess(name, f"02:10:00:00:00:0{name[1]}", f"02:20:00:00:00:0{name[1]}", None)
    for name in ("p1", "p2")
}


def test_more_than_scapy_can_do_is_refused_with_the_numbers_and_the_fix() -> None:
    streams = [replace(stream(n, "p1", "p2"), rate_pps=2_001) for n in range(2)]
    with pytest.raises(TrafficError) as refused:
        ScapyTraffic(SITE).open(streams, PORTS, run_id=1)
    assert str(refused.value) == (
        "the streams add up to 4002 frames per second, scapy can do 4000 on this machine\n"
        "  fix: lower offered_load_pps to 2000 or less, or take another traffic backend"
    )


def test_a_port_without_access_is_named() -> None:
    with pytest.raises(TrafficError, match="there is no access to tester port p9"):
        ScapyTraffic(SITE).open([stream(0, "p1", "p9")], PORTS, run_id=1)


def test_calls_out_of_order_say_what_is_missing() -> None:
    backend = ScapyTraffic(SITE)
    for call in (backend.start, backend.counts, backend.stop, backend.collect):
        with pytest.raises(TrafficError, match="the traffic backend is not open"):
            call()
    backend.close()


def test_a_namespace_is_passed_to_a_worker_as_the_worker_sees_it() -> None:
    outside = Path("/proc/4711/root/run/netns/p1")
    assert _as_seen(outside, in_lab=True) == PurePosixPath("/run/netns/p1")
    assert _as_seen(outside, in_lab=False) == PurePosixPath("/proc/4711/root/run/netns/p1")
    assert _as_seen(Path("/run/netns/p1"), in_lab=True) == PurePosixPath("/run/netns/p1")


def test_drops_for_want_of_a_link_are_not_the_testers() -> None:
    assert _without(12, 10) == 2
    assert _without(9, 10) == 0
    assert _without(None, 10) is None


def test_a_sum_with_an_unknown_part_is_unknown() -> None:
    assert _sum_known((1, 2, 0)) == 3
    assert _sum_known((1, None, 0)) is None
