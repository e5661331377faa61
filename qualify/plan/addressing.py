"""Addresses of a testbed: every interface, host and route, all inside the benchmarking blocks.

Source:
    RFC 2544 C.2.2, RFC 6815 §4.2: 198.18.0.0/15; the first port of a path stands on the
    "input" side (198.18.), the second on the "output" side (198.19.); a router port is host .1,
    an emulated router host .10, remote networks begin at the third octet 65.
    RFC 5180 §5.2.1 and §8 as corrected, RFC 6890: 2001:2::/48; its first half is the input side,
    the second half the output side.
"""

from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Interface, IPv4Network, IPv6Address, IPv6Network
from itertools import count

from qualify.errors import PlanError
from qualify.testbed.testbed import Headers, Path, PathKind, Testbed

SIDES = (IPv4Network("198.18.0.0/16"), IPv4Network("198.19.0.0/16"))
SIDES_IPV6 = (IPv6Network("2001:2::/49"), IPv6Network("2001:2:0:8000::/49"))
FIRST_REMOTE_OCTET = 65
MOST_PATHS = FIRST_REMOTE_OCTET - 1
_REMOTE_ADDRESSES = (256 - FIRST_REMOTE_OCTET) * 256
_FIRST_HOST = 11


@dataclass(frozen=True, slots=True)
class Host:
    """A host on a switched path, emulated by the tester; without IP it has no address."""

    mac: str
    address: IPv4Address | IPv6Address | None


@dataclass(frozen=True, slots=True)
class PortAddresses:
    """What stands at one tester port.

    On a routed path (``igp``, ``egp``) ``tester`` and ``dut`` are the two ends of the cable and
    ``prefixes`` the routes behind the tester port; on a switched path (``l2``) there are
    ``hosts`` only.
    """

    port: str
    path: str
    side: int
    tester: IPv4Interface | None
    dut: IPv4Interface | None
    prefixes: tuple[IPv4Network, ...]
    hosts: tuple[Host, ...]


def address_testbed(testbed: Testbed) -> dict[str, PortAddresses]:
    """Give every tester port that a path uses its addresses, by the name of the port.

    Raises:
        PlanError: more paths or routes than the benchmarking block holds.
    """
    if len(testbed.paths) > MOST_PATHS:
        raise PlanError(
            f"{len(testbed.paths)} paths need more networks than the benchmarking block holds",
            fix=f"describe at most {MOST_PATHS} paths in one testbed",
            where=str(testbed.file),
        )
    remote = [_remote_prefixes(testbed, side) for side in (0, 1)]
    return {
        name: _address_port(path, number, side, remote[side])
        for number, path in enumerate(testbed.paths, start=1)
        for side, name in enumerate(path.ports)
    }


def routes_behind(path: Path, side: int) -> int:
    """Count the routes behind one port of a routed path: half of all, the odd one on side 0."""
    total = path.routes or 0
    return (total + 1 - side) // 2


def host_in(prefix: IPv4Network) -> IPv4Address:
    """Return the address that stands for a route: its first host."""
    return prefix[1] if prefix.prefixlen < 31 else prefix[0]  # noqa: PLR2004 (RFC 3021)


def _address_port(path: Path, number: int, side: int, remote: "_PrefixSupply") -> PortAddresses:
    if path.kind is PathKind.L2:
        hosts = _hosts(path, number, side)
        return PortAddresses(path.ports[side], path.name, side, None, None, (), hosts)
    network = _network(number, side)
    return PortAddresses(
        port=path.ports[side],
        path=path.name,
        side=side,
        tester=IPv4Interface((network[10], 24)),
        dut=IPv4Interface((network[1], 24)),
        prefixes=remote.take(routes_behind(path, side)),
        hosts=(),
    )


def _network(number: int, side: int) -> IPv4Network:
    return IPv4Network((int(SIDES[side][0]) + number * 256, 24))


def _network_ipv6(number: int, side: int) -> IPv6Network:
    return IPv6Network((int(SIDES_IPV6[side][0]) + (number << 64), 64))


def _hosts(path: Path, number: int, side: int) -> tuple[Host, ...]:
    networks: dict[Headers, IPv4Network | IPv6Network | None] = {
        Headers.ETHERNET: None,
        Headers.IPV4: _network(number, side),
        Headers.IPV6: _network_ipv6(number, side),
    }
    network = networks[path.headers]
    return tuple(
        Host(
            mac=f"02:00:{number:02x}:{side:02x}:00:{index:02x}",
            address=None if network is None else network[_FIRST_HOST + index],
        )
        for index in range(path.hosts or 0)
    )


class _PrefixSupply:
    """Hands out the remote networks of one side, one after the other."""

    def __init__(self, first: IPv4Address, length: int) -> None:
        self._length = length
        self._addresses = count(int(first), 1 << (32 - length))

    def take(self, number: int) -> tuple[IPv4Network, ...]:
        return tuple(IPv4Network((next(self._addresses), self._length)) for _ in range(number))


def _remote_prefixes(testbed: Testbed, side: int) -> _PrefixSupply:
    routes = sum(routes_behind(path, side) for path in testbed.paths)
    for length in (30, 31, 32):
        if routes << (32 - length) <= _REMOTE_ADDRESSES:
            return _PrefixSupply(SIDES[side][FIRST_REMOTE_OCTET * 256], length)
    raise PlanError(
        f"{routes} routes behind one side are more than the benchmarking block holds",
        fix=f"ask for at most {_REMOTE_ADDRESSES} routes on each side",
        where=str(testbed.file),
    )
