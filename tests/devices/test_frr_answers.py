"""Answers of FRR 8.4.4, shortened, become neighbors and features."""

import pytest

from qualify.devices.device import DeviceNeighbor
from qualify.devices.frr_answers import graceful_restart_is_on, read_neighbors
from qualify.errors import DeviceError

OSPF = """
{"neighbors":{
  "198.18.2.10":[{"nbrState":"Full\\/-","ifaceAddress":"198.18.2.10","ifaceName":"e3:198.18.2.1"}],
  "198.19.2.10":[{"nbrState":"Init\\/-","ifaceAddress":"198.19.2.10","ifaceName":"e4:198.19.2.1"}]}}
"""
BGP = """
{"ipv4Unicast":{"routerId":"198.18.0.1","as":65000,"peers":{
  "198.18.3.10":{"remoteAs":65103,"pfxRcd":500,"state":"Established","peerState":"OK"},
  "198.19.3.10":{"remoteAs":65104,"pfxRcd":0,"state":"Active","peerState":"OK"}}}}
"""
RUNNING = """\
frr version 8.4.4
!
router bgp 65000
 bgp router-id 198.18.0.1
 bgp graceful-restart restart-time 60
 bgp graceful-restart
 neighbor 198.18.3.10 remote-as 65103
exit
!
router ospf
 ospf router-id 198.18.0.1
 graceful-restart grace-period 60
 graceful-restart helper enable
exit
!
end
"""


def test_ospf_neighbors_are_up_when_full() -> None:
    assert read_neighbors("ospf", OSPF) == (
        DeviceNeighbor("ospf", "198.18.2.10", "Full/-", up=True),
        DeviceNeighbor("ospf", "198.19.2.10", "Init/-", up=False),
    )


def test_bgp_neighbors_are_up_when_established() -> None:
    assert read_neighbors("bgp", BGP) == (
        DeviceNeighbor("bgp", "198.18.3.10", "Established", up=True),
        DeviceNeighbor("bgp", "198.19.3.10", "Active", up=False),
    )


def test_a_device_without_bgp_neighbors_has_none() -> None:
    assert read_neighbors("bgp", "{}") == ()


@pytest.mark.parametrize("answer", ["", "{}", "[]"])
def test_an_answer_of_another_shape_is_an_error_and_not_an_empty_list(answer: str) -> None:
    with pytest.raises(DeviceError, match=r"^the device's list of ospf neighbors cannot be read: "):
        read_neighbors("ospf", answer)


def test_graceful_restart_is_on_where_the_configuration_says_so() -> None:
    assert graceful_restart_is_on("ospf", RUNNING)
    assert graceful_restart_is_on("bgp", RUNNING)


def test_helping_others_is_not_restarting_gracefully() -> None:
    running = RUNNING.replace(" graceful-restart grace-period 60\n", "")

    assert not graceful_restart_is_on("ospf", running)


def test_a_restart_time_alone_does_not_turn_it_on() -> None:
    running = RUNNING.replace(" bgp graceful-restart\n", " bgp graceful-restart-disable\n")

    assert not graceful_restart_is_on("bgp", running)
