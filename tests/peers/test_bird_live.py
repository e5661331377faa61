"""A peer on this machine that nobody answers: it starts, waits, and ends without a trace."""

import os
from collections.abc import Iterator
from dataclasses import replace

import pytest

from qualify.clock import RealClock
from qualify.errors import PeerError
from qualify.lab.lab import Lab
from qualify.peers.bird import BirdPeer
from qualify.plan.peers import plan_peers
from qualify.site import Site
from tests.sample import TESTBED

pytestmark = pytest.mark.live


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    """Build a lab whose device runs nothing."""
    with Lab(replace(TESTBED, name=f"peers-{os.getpid()}")) as lab:
        yield Site(TESTBED, RealClock(), lab, None)


@pytest.mark.parametrize("number", [0, 2])
def test_a_peer_alone_is_not_up_and_has_learned_nothing(site: Site, number: int) -> None:
    peer = BirdPeer(plan_peers(TESTBED)[number], site)

    peer.start()

    assert not peer.up()
    assert peer.routes() == 0
    history = peer.history(since_ns=0)
    assert (history.before, history.after, history.events) == (None, None, ())
    with pytest.raises(PeerError, match=r"^the peer at p\d did not start: "):
        peer.start()
    peer.stop()
    peer.stop()
    inside = site.in_lab("this test").namespace("p3").run("sh", "-c", "cat /proc/[0-9]*/comm")
    assert "cat" in inside
    assert "bird" not in inside
    with pytest.raises(PeerError, match=r"does not answer: No such file or directory"):
        peer.up()


def test_a_peer_that_never_started_has_no_history(site: Site) -> None:
    peer = BirdPeer(plan_peers(TESTBED)[1], site)

    with pytest.raises(PeerError, match=r"^the peer at p4 has no log: No such file or directory\n"):
        peer.history(since_ns=0)
