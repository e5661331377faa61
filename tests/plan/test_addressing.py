"""Addresses stand where RFC 2544 C.2.2 and RFC 6815 §4.2 put them."""

from dataclasses import replace
from ipaddress import IPv4Address, IPv4Interface, IPv4Network, IPv6Network

import pytest

from qualify.errors import PlanError
from qualify.plan.addressing import address_testbed, host_in
from qualify.testbed.testbed import Headers, Path, PathKind
from tests.sample import TESTBED


def with_routes(routes: int) -> tuple[Path, ...]:
    return (Path("egp", PathKind.EGP, "bgp", ("p5", "p6"), hosts=None, routes=routes),)


def test_O_ADDR_04_a_router_port_is_host_1_and_an_emulated_router_host_10() -> None:
    """RFC 2544 C.2.2.1-2."""
    port = address_testbed(TESTBED)["p3"]

    assert port.dut == IPv4Interface("198.18.2.1/24")
    assert port.tester == IPv4Interface("198.18.2.10/24")


def test_O_ADDR_03_the_second_port_of_a_path_stands_on_the_output_side() -> None:
    """RFC 2544 C.2.2.1."""
    assert address_testbed(TESTBED)["p4"].dut == IPv4Interface("198.19.2.1/24")


def test_O_ADDR_05_routes_begin_at_the_third_octet_65_and_do_not_overlap() -> None:
    """RFC 2544 C.2.2.2."""
    addresses = address_testbed(TESTBED)

    assert addresses["p3"].prefixes == (
        IPv4Network("198.18.65.0/30"),
        IPv4Network("198.18.65.4/30"),
        IPv4Network("198.18.65.8/30"),
    )
    assert addresses["p4"].prefixes[0] == IPv4Network("198.19.65.0/30")
    assert addresses["p5"].prefixes[0] == IPv4Network("198.18.65.12/30")


def test_an_odd_number_of_routes_puts_the_odd_one_on_the_first_side() -> None:
    addresses = address_testbed(TESTBED)

    assert (len(addresses["p3"].prefixes), len(addresses["p4"].prefixes)) == (3, 2)


def test_hosts_of_a_switched_path_have_a_mac_and_an_address_each() -> None:
    hosts = address_testbed(TESTBED)["p2"].hosts

    assert [host.mac for host in hosts] == [
        "02:00:01:01:00:00",
        "02:00:01:01:00:01",
        "02:00:01:01:00:02",
    ]
    assert [str(host.address) for host in hosts] == ["198.19.1.11", "198.19.1.12", "198.19.1.13"]


@pytest.mark.parametrize(
    ("port", "half", "first"),
    [
        ("p1", "2001:2::/49", "2001:2:0:1::b"),
        ("p2", "2001:2:0:8000::/49", "2001:2:0:8001::b"),
    ],
)
def test_O_ADDR_06_07_ipv6_hosts_stand_in_their_half_of_the_benchmarking_block(
    port: str, half: str, first: str
) -> None:
    """RFC 5180 §5.2.1: input side first; RFC 6890: the block is 2001:2::/48."""
    path = replace(TESTBED.paths[0], hosts=200, headers=Headers.IPV6)
    hosts = address_testbed(replace(TESTBED, paths=(path,)))[port].hosts

    assert str(hosts[0].address) == first
    assert len({host.address for host in hosts}) == 200
    assert all(host.address in IPv6Network(half) for host in hosts)
    assert IPv6Network(half).subnet_of(IPv6Network("2001:2::/48"))


def test_hosts_without_ip_have_a_mac_address_only() -> None:
    path = replace(TESTBED.paths[0], headers=Headers.ETHERNET)
    hosts = address_testbed(replace(TESTBED, paths=(path,)))["p1"].hosts

    assert [(host.mac, host.address) for host in hosts] == [
        ("02:00:01:00:00:00", None),
        ("02:00:01:00:00:01", None),
        ("02:00:01:00:00:02", None),
    ]


@pytest.mark.parametrize(
    ("routes", "length"), [(15_000, 30), (24_448, 30), (24_450, 31), (97_792, 32)]
)
def test_O_ADDR_01_many_routes_get_longer_prefixes_and_stay_in_the_block(
    routes: int, length: int
) -> None:
    """RFC 6815 §4.2: 198.18.0.0/15; 191 networks of 256 addresses are left on each side."""
    port = address_testbed(replace(TESTBED, paths=with_routes(routes)))["p6"]

    assert {prefix.prefixlen for prefix in port.prefixes} == {length}
    assert port.prefixes[-1].subnet_of(IPv4Network("198.19.0.0/16"))
    assert len(set(port.prefixes)) == routes // 2


def test_more_routes_than_the_block_holds_are_refused() -> None:
    with pytest.raises(
        PlanError, match=r"^testbeds/sample.yaml: 48897 routes behind one side are more than"
    ):
        address_testbed(replace(TESTBED, paths=with_routes(97_794)))


def test_more_paths_than_the_block_has_networks_for_are_refused() -> None:
    paths = with_routes(2) * 65

    with pytest.raises(PlanError, match="65 paths need more networks"):
        address_testbed(replace(TESTBED, paths=paths))


@pytest.mark.parametrize(
    ("prefix", "host"),
    [
        ("198.18.65.4/30", "198.18.65.5"),
        ("198.18.65.4/31", "198.18.65.4"),
        ("198.18.65.5/32", "198.18.65.5"),
    ],
)
def test_a_route_is_visited_at_its_first_host(prefix: str, host: str) -> None:
    """RFC 3021 for the two addresses of a /31."""
    assert host_in(IPv4Network(prefix)) == IPv4Address(host)
