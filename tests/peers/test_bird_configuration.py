"""What a peer is configured with, in BIRD's own words."""

from dataclasses import replace

import pytest

from qualify.errors import PeerError
from qualify.peers.bird_configuration import write_configuration
from qualify.plan.peers import plan_peers
from tests.sample import TESTBED

OSPF_PEER, _, BGP_PEER, _ = plan_peers(TESTBED)


def test_every_route_of_the_plan_is_originated_and_none_reaches_the_kernel() -> None:
    """RFC 2544 C.2.2: routes behind the first side begin at 198.18.65.0."""
    configuration = write_configuration(OSPF_PEER, folder="/run/peers/p3")

    assert configuration.count(" blackhole;") == 3
    assert "  route 198.18.65.0/30 blackhole;\n  route 198.18.65.4/30 blackhole;" in configuration
    assert "protocol kernel" not in configuration


def test_an_ospf_peer_stands_on_its_tester_port_with_the_timers_of_the_plan() -> None:
    configuration = write_configuration(OSPF_PEER, folder="/run/peers/p3")

    assert 'interface "p3" {\n      type ptp; hello 1; dead 4;' in configuration
    assert 'log "/run/peers/p3/bird.log" all;\n' in configuration
    assert "router id 198.18.2.10;\n" in configuration


def test_a_bgp_peer_speaks_to_the_device_port_and_helps_through_restarts() -> None:
    configuration = write_configuration(BGP_PEER, folder="/run/peers/p5")

    assert "local 198.18.3.10 as 65103;\n  neighbor 198.18.3.1 as 65000;\n" in configuration
    assert "keepalive time 3; hold time 9;" in configuration
    assert "graceful restart on;" in configuration


def test_a_protocol_that_nobody_speaks_is_refused() -> None:
    with pytest.raises(PeerError, match=r"^the peer at p3 cannot speak rip\n  fix: write protocol"):
        write_configuration(replace(OSPF_PEER, protocol="rip"), folder="/run/peers/p3")


def test_a_peer_without_addresses_is_refused() -> None:
    nowhere = replace(OSPF_PEER, here=replace(OSPF_PEER.here, tester=None))

    with pytest.raises(PeerError, match=r"^the plan gives the peer at p3 no addresses\n"):
        write_configuration(nowhere, folder="/run/peers/p3")
