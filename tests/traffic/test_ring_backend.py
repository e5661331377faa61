"""What the backend refuses before anything is opened."""

from dataclasses import replace

import pytest

from qualify.clock import RealClock
from qualify.errors import TrafficError
from qualify.plan.limit import Limit
from qualify.site import Site
from qualify.traffic.backend import PortAccess
from qualify.traffic.ring_backend import RingTraffic
from tests.sample import TESTBED
from tests.traffic.live_bridge import stream

SITE = Site(TESTBED, RealClock(), None, None)
PORTS = {
    name: PortAccess(name, f"02:10:00:00:00:0{name[1]}", f"02:20:00:00:00:0{name[1]}", None)
    for name in ("p1", "p2")
}


def test_more_than_the_limit_is_refused_with_the_numbers_and_the_fix() -> None:
    streams = [replace(stream(n, "p1", "p2"), rate_pps=2_001) for n in range(2)]
    with pytest.raises(TrafficError) as refused:
        RingTraffic(SITE, limit=Limit(4_000, 4_000)).open(streams, PORTS, run_id=1)
    assert str(refused.value) == (
        "the streams add up to 4002 frames per second, this machine is known to do 4000\n"
        "  fix: lower offered_load_pps to 2000 or less, "
        "or let `qualify measure` find out what this machine can do"
    )


def test_a_port_without_access_is_named() -> None:
    with pytest.raises(TrafficError, match="there is no access to tester port p9"):
        RingTraffic(SITE).open([stream(0, "p1", "p9")], PORTS, run_id=1)


def test_calls_out_of_order_say_what_is_missing() -> None:
    backend = RingTraffic(SITE)
    for call in (backend.start, backend.counts, backend.stop, backend.collect):
        with pytest.raises(TrafficError, match="the traffic backend is not open"):
            call()
    backend.close()
