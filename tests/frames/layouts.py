"""Every layout of a test frame, and frames that scapy builds of it."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scapy.layers.inet import IP, UDP
from scapy.layers.inet6 import IPv6
from scapy.layers.l2 import Dot1AD, Dot1Q, Ether
from scapy.packet import Packet, Raw

from qualify.frames import FrameAddresses, Layout, Payload, Templates, make_templates, write_payload
from qualify.testbed.testbed import Headers

LAYOUTS = {
    f"{headers}, {len(vlans)} tags": Layout(headers, vlans)
    for headers in Headers
    for vlans in ((), (10,), (200, 10))
}


def layers(headers: Headers, vlans: tuple[int, ...]) -> Iterator[Packet]:
    """Say with scapy's own words what stands between Ethernet header and payload."""
    if len(vlans) > 1:
        yield Dot1AD(vlan=vlans[0], type=0x8100)
    ether_type = {"ethernet": 0x88B5, "ipv4": 0x0800, "ipv6": 0x86DD}[headers]
    if vlans:
        yield Dot1Q(vlan=vlans[-1], type=ether_type)
    if headers is Headers.IPV4:
        yield IP(src="198.18.1.11", dst="198.19.1.11", id=0, flags="DF")
    if headers is Headers.IPV6:
        yield IPv6(src="2001:2:0:1::b", dst="2001:2:0:8001::b")
    if headers is not Headers.ETHERNET:
        yield UDP(sport=49184, dport=7)


def one_frame(
    layout: Layout, *, run_id: int = 7, stream: int = 3, fill: bytes = b""
) -> NDArray[np.uint8]:
    """Let scapy build a frame with number and time 0."""
    first_type = {0: 0x88B5, 1: 0x8100, 2: 0x88A8}[len(layout.vlans)]
    packet: Packet = Ether(dst="02:00:00:00:00:02", src="02:00:00:00:00:01")
    if layout.vlans or layout.headers is Headers.ETHERNET:
        packet.type = first_type
    for layer in layers(layout.headers, layout.vlans):
        packet = packet / layer
    packet = packet / Raw(write_payload(Payload(run_id, stream, 0, 0)) + fill)
    return np.frombuffer(bytes(packet), dtype=np.uint8)


def three_destinations(layout: Layout) -> FrameAddresses:
    """Addresses whose words make sums carry, among others."""
    sources = {
        Headers.ETHERNET: ["", "", ""],
        Headers.IPV4: ["c6120101", "c612ffff", "c6120000"],
        Headers.IPV6: [
            "20010002000000010000000000000010",
            "20010002" + "f" * 24,
            "20010002" + 24 * "0",
        ],
    }[layout.headers]
    targets = {
        Headers.ETHERNET: ["", "", ""],
        Headers.IPV4: ["c6130101", "c613fffe", "c6134100"],
        Headers.IPV6: [
            "20010002000080010000000000000010",
            "200100020000ffff" + "f" * 16,
            "2001000200008000" + 16 * "0",
        ],
    }[layout.headers]
    return FrameAddresses(
        target_macs=np.array([[2, 0, 0, 0, 1, n] for n in range(3)], dtype=np.uint8),
        source_macs=np.array([[2, 0, 0, 0, 0, n] for n in range(3)], dtype=np.uint8),
        sources=octets(sources),
        targets=octets(targets),
    )


def octets(rows: list[str]) -> NDArray[np.uint8]:
    """Read rows of hexadecimal octets."""
    packed = b"".join(map(bytes.fromhex, rows))
    return np.frombuffer(packed, dtype=np.uint8).reshape(len(rows), -1)


def templates(
    layout: Layout, *, run_id: int = 7, stream: int = 3, fills: tuple[int, ...] = (0,)
) -> Templates:
    """Make templates for three destinations, with a size for each length of fill."""
    pattern = bytes(range(200))
    frames = [
        one_frame(layout, run_id=run_id, stream=stream, fill=pattern[:fill]) for fill in fills
    ]
    return make_templates(frames, three_destinations(layout), layout)


def whole(templates: Templates, head: NDArray[np.uint8], number: int) -> bytes:
    """Put head and fill together."""
    return head.tobytes() + templates.fill_behind(number).tobytes()


def rebuilt(frame: bytes) -> bytes:
    """The same frame with checksums computed from scratch by scapy."""
    packet = Ether(frame)
    if IP in packet:
        del packet[IP].chksum
    if UDP in packet:
        del packet[UDP].chksum
    return bytes(packet)
