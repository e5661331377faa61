"""What a virtual device is configured with, in FRR's own words."""

from qualify.devices.frr_configuration import switched_ports, write_configuration
from tests.sample import TESTBED

DUT = TESTBED.duts[0]


def test_an_interface_knows_its_timers_before_it_greets() -> None:
    """RFC 2328 §10.5: a hello with other timers is dropped by the neighbor."""
    assert (
        "interface e3\n"
        " ip address 198.18.2.1/24\n"
        " ip ospf network point-to-point\n"
        " ip ospf hello-interval 1\n"
        " ip ospf dead-interval 4\n"
        " ip ospf retransmit-interval 1\n"
        " ip ospf area 0\n"
        "exit\n"
    ) in write_configuration(TESTBED, DUT)


def test_the_router_has_its_number_before_any_interface_is_in_an_area() -> None:
    configuration = write_configuration(TESTBED, DUT)

    assert configuration.index("ospf router-id 198.18.0.1") < configuration.index("interface e3")


def test_graceful_restart_is_on_for_both_protocols() -> None:
    """RFC 3623 for OSPF, RFC 4724 for BGP."""
    configuration = write_configuration(TESTBED, DUT)

    assert "router ospf\n ospf router-id 198.18.0.1\n" in configuration
    assert "\n graceful-restart grace-period 60\n" in configuration
    assert "router bgp 65000\n bgp router-id 198.18.0.1\n" in configuration
    assert "\n bgp graceful-restart\n bgp graceful-restart preserve-fw-state\n" in configuration


def test_each_bgp_peer_has_the_number_and_timers_of_its_plan() -> None:
    """Keepalive 3 s and hold time 9 s; the third and fourth peer of the testbed speak BGP."""
    configuration = write_configuration(TESTBED, DUT)

    assert (
        " neighbor 198.18.3.10 remote-as 65103\n neighbor 198.18.3.10 timers 3 9\n"
    ) in configuration
    assert " neighbor 198.19.3.10 remote-as 65104\n" in configuration


def test_the_ports_of_a_switched_path_are_joined() -> None:
    assert switched_ports(TESTBED, DUT) == {"l2": ("e1", "e2")}
