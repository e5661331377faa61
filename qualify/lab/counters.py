"""The ground truth: test frames that each device port received and sent, counted by the kernel.

The counters stand where a frame enters or leaves the port, before and after everything that the
device does with it; they know nothing of upgrades and are never reset. Frames in minus frames
out is what the device lost, to the frame.
"""

import json

from qualify.errors import LabError
from qualify.measure.observation import PortCount

TEST_SOURCE_PORT = 0xC020
TEST_TARGET_PORT = 7
"""UDP ports of a test frame (RFC 2544 C.2.6.4)."""


# What makes a test frame, whatever its headers and tags: its type, and further on the UDP ports or,
# without UDP, the magic number. A rule sees a frame as it was sent, with its tags.
_TYPE_AT, _TAG_OCTETS, _TAGS = 12, 4, (0, 1, 2)
_PORTS = TEST_SOURCE_PORT << 16 | TEST_TARGET_PORT
_MARKS = ((0x0800, 22, 32, _PORTS), (0x86DD, 42, 32, _PORTS), (0x88B5, 2, 16, 0x5155))
"""Type, and what the octets so far behind it, of so many bits, must be."""

_TABLE = "netdev lab_truth"


def counting_rules(ports: tuple[str, ...]) -> str:
    """Write the rules that count test frames at these device ports, to be read by ``nft -f``."""
    lines = [f"table {_TABLE} {{"]
    for port in ports:
        lines += [
            f"  counter n_{port}_in {{ }}",
            f"  counter n_{port}_out {{ }}",
            f'  chain c_{port}_in {{ type filter hook ingress device "{port}" priority -500; '
            f"{_count(f'n_{port}_in')} }}",
            f'  chain c_{port}_out {{ type filter hook egress device "{port}" priority 500; '
            f"{_count(f'n_{port}_out')} }}",
        ]
    return "\n".join([*lines, "}", ""])


def _count(counter: str) -> str:
    frames = [
        f"@ll,{8 * type_at},16 {ether_type:#06x} @ll,{8 * (type_at + behind)},{bits} {mark:#x}"
        for type_at in (_TYPE_AT + _TAG_OCTETS * tags for tags in _TAGS)
        for ether_type, behind, bits, mark in _MARKS
    ]
    return " ".join(f"{frame} counter name {counter} accept;" for frame in frames)


def read_counters(listing: str, ports: tuple[str, ...]) -> tuple[PortCount, ...]:
    """Read what ``nft -j list counters`` printed, in the order of the ports.

    Raises:
        LabError: a counter is not there.
    """
    packets: dict[str, int] = {
        item["counter"]["name"]: item["counter"]["packets"]
        for item in json.loads(listing)["nftables"]
        if "counter" in item
    }
    missing = [port for port in ports if not {f"n_{port}_in", f"n_{port}_out"} <= packets.keys()]
    if missing:
        raise LabError(
            f"the lab lost its frame counters of {', '.join(missing)}",
            fix="take the lab down and up again; nothing on the device may flush its rules",
        )
    return tuple(
        PortCount(port, received=packets[f"n_{port}_in"], sent=packets[f"n_{port}_out"])
        for port in ports
    )
