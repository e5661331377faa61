"""A lab whose one device is a plain Ethernet bridge between four tester ports: p1|p2|p3|p4."""

import json
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path

from qualify.clock import RealClock
from qualify.frames import PLAIN, Layout
from qualify.lab.lab import Lab
from qualify.plan.stream import Destination, Stream
from qualify.site import Site
from qualify.testbed.testbed import Attachment, BenchKind, Headers, PathKind, Port, Tester
from qualify.traffic.backend import PortAccess
from tests.sample import TESTBED

PORTS = ("p1", "p2", "p3", "p4")
PATIENCE_S = 10.0


@dataclass(frozen=True, slots=True)
class Bridge:
    """The lab, how a backend reaches its ports, and the device's own shell."""

    lab: Lab
    ports: dict[str, PortAccess]

    def site(self, *, inside: bool) -> Site:
        """Let workers run inside the lab, or outside as on a bench of real devices."""
        return Site(self.lab.testbed, RealClock(), self.lab if inside else None, None)

    def device(self, script: str) -> str:
        """Run a shell script on the device."""
        return self.lab.namespace("d1").run("sh", "-ec", script)

    @contextmanager
    def rule(self, hook: str, action: str) -> Iterator[Callable[[], int]]:
        """Do something to the test frames that enter at e1, until the block ends.

        Afterwards the callable that was given tells how many frames the kernel did it to.
        """
        family = "bridge" if hook.startswith("forward") else "netdev"
        self._nft(
            f"table {family} fault {{\n"
            "  counter done { }\n"
            "  chain c {\n"
            f"    type filter hook {hook} priority 0;\n"
            f"    meta iifname e1 udp dport 7 counter name done {action};\n"
            "  }\n"
            "}\n"
        )
        count = 0
        yield lambda: count
        self._nft(f"delete chain {family} fault c")
        listing = self._nft("", "-j", "list", "table", family, "fault")
        found = [item["counter"] for item in json.loads(listing)["nftables"] if "counter" in item]
        count = int(found[0]["packets"])
        self._nft(f"delete table {family} fault")

    def _nft(self, rules: str, *options: str) -> str:
        nft = self.lab.programs.path("nft")
        return self.lab.namespace("d1").run(nft, *(options or ("-f", "-")), stdin=rules)


@contextmanager
def bridge_lab() -> Iterator[Bridge]:
    """Build the lab and connect its four ports to one bridge."""
    testbed = replace(
        TESTBED,
        name=f"traffic-{os.getpid()}",
        kind=BenchKind.VIRTUAL,
        tester=Tester(
            "scapy", tuple(Port(f"p{n}", Attachment("d1", f"e{n}")) for n in range(1, 5))
        ),
        paths=(),
    )
    with Lab(testbed) as lab:
        cables = {name: lab.port_access(name) for name in PORTS}
        ports = {
            name: PortAccess(cable.interface, cable.mac, cable.gateway_mac, cable.namespace)
            for name, cable in cables.items()
        }
        bridge = Bridge(lab, ports)
        bridge.device(
            "ip link add qbr type bridge; ip link set qbr up;"
            "for n in 1 2 3 4; do ip link set e$n master qbr; done"
        )
        yield bridge


def stream(
    number: int,
    sender: str,
    receiver: str,
    *,
    rate_pps: int = 500,
    frame_octets: int = 64,
    layout: Layout = PLAIN,
) -> Stream:
    """Make a switched stream between three hosts on each side."""
    return Stream(
        number=number,
        path="l2",
        kind=PathKind.L2,
        sender=sender,
        receiver=receiver,
        destinations=tuple(
            Destination(
                name=host_mac(receiver, host),
                source=host_address(sender, host, layout.headers),
                target=host_address(receiver, host, layout.headers),
                source_mac=host_mac(sender, host),
                target_mac=host_mac(receiver, host),
            )
            for host in range(3)
        ),
        rate_pps=rate_pps,
        frame_octets=frame_octets,
        layout=layout,
    )


def host_address(port: str, host: int, headers: Headers) -> IPv4Address | IPv6Address | None:
    """Return the IP address of a host behind a tester port."""
    if headers is Headers.ETHERNET:
        return None
    if headers is Headers.IPV6:
        return IPv6Address(f"2001:2:0:{port[1]}::") + 11 + host
    return IPv4Address(f"198.18.{port[1]}.{11 + host}")


def host_mac(port: str, host: int) -> str:
    """Return the MAC address of a host behind a tester port."""
    return f"02:00:00:00:{int(port[1]):02x}:{host:02x}"


def wait_until(condition: Callable[[], bool]) -> None:
    """Wait for a condition; a test that waits in vain fails."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.01)


def is_gone(process: int) -> bool:
    """Tell whether a process has ended (a zombie has)."""
    try:
        stat = Path(f"/proc/{process}/stat").read_text()
    except FileNotFoundError:
        return True
    return stat.rpartition(")")[2].split()[0] == "Z"
