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

_TABLE = "netdev lab_truth"


def counting_rules(ports: tuple[str, ...]) -> str:
    """Write the rules that count test frames at these device ports, to be read by ``nft -f``."""
    test_frame = f"udp sport {TEST_SOURCE_PORT} udp dport {TEST_TARGET_PORT}"
    lines = [f"table {_TABLE} {{"]
    for port in ports:
        lines += [
            f"  counter n_{port}_in {{ }}",
            f"  counter n_{port}_out {{ }}",
            f'  chain c_{port}_in {{ type filter hook ingress device "{port}" priority -500; '
            f"{test_frame} counter name n_{port}_in; }}",
            f'  chain c_{port}_out {{ type filter hook egress device "{port}" priority 500; '
            f"{test_frame} counter name n_{port}_out; }}",
        ]
    return "\n".join([*lines, "}", ""])


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
