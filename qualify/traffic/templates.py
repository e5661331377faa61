"""From a stream to its frames: scapy builds one, every other destination is patched into it."""

from collections.abc import Sequence
from functools import reduce
from ipaddress import IPv4Address, IPv6Address
from operator import truediv

import numpy as np
from numpy.typing import NDArray
from scapy.layers.inet import IP, UDP
from scapy.layers.inet6 import IPv6
from scapy.layers.l2 import Dot1AD, Dot1Q, Ether
from scapy.packet import Packet, Raw

from qualify.frames import (
    UDP_DESTINATION,
    UDP_SOURCE,
    FrameAddresses,
    Layout,
    Lengths,
    Templates,
    frame_lengths,
    make_templates,
)
from qualify.plan.stream import Stream
from qualify.testbed.testbed import Headers
from qualify.traffic.backend import PortAccess
from qualify.traffic.scapy_layer import NumberedPayload


def build_templates(stream: Stream, sender: PortAccess, *, run_id: int) -> Templates:
    """Return heads for each destination and frame size, ready for number_frames.

    Args:
        stream: its layout, addresses and frame sizes; a MAC address of ``None`` is filled in.
        sender: the port that the stream leaves from.
        run_id: goes into every frame.

    Raises:
        PlanError: a frame size cannot be sent in this layout.
    """
    frames = [
        np.frombuffer(bytes(_build(stream, sender, frame_octets, run_id)), dtype=np.uint8)
        for frame_octets in stream.sizes
    ]
    return make_templates(frames, _addresses(stream, sender), stream.layout)


def _build(stream: Stream, sender: PortAccess, frame_octets: int, run_id: int) -> Packet:
    layout = stream.layout
    lengths = frame_lengths(frame_octets, layout)
    fill = lengths.built_octets - layout.payload_end
    layers = (
        Ether(src=sender.mac, dst=sender.gateway_mac),
        *_tags(layout.vlans),
        *_headers(layout, lengths),
        NumberedPayload(run_id=run_id, stream=stream.number),
        Raw((np.arange(fill) % 256).astype(np.uint8).tobytes()),
    )
    packet: Packet = reduce(truediv, layers)
    return packet


def _tags(vlans: Sequence[int]) -> list[Packet]:
    inner = [Dot1Q(vlan=vlan) for vlan in vlans[-1:]]
    return [*(Dot1AD(vlan=vlan) for vlan in vlans[:-1]), *inner]


def _headers(layout: Layout, lengths: Lengths) -> list[Packet]:
    udp = UDP(sport=UDP_SOURCE, dport=UDP_DESTINATION, len=lengths.udp)
    if layout.headers is Headers.IPV4:
        ip = IP(src="198.18.0.0", dst="198.19.0.0", id=0, flags="DF", len=lengths.ip)
        return [ip, udp]
    if layout.headers is Headers.IPV6:
        return [IPv6(src="2001:2::", dst="2001:2:0:8000::", plen=lengths.ip), udp]
    return []


def _addresses(stream: Stream, sender: PortAccess) -> FrameAddresses:
    here, there = sender.mac, sender.gateway_mac
    visited = stream.destinations
    octets = stream.layout.address_octets
    return FrameAddresses(
        target_macs=_mac_octets([each.target_mac or there for each in visited]),
        source_macs=_mac_octets([each.source_mac or here for each in visited]),
        sources=_ip_octets([each.source for each in visited], octets),
        targets=_ip_octets([each.target for each in visited], octets),
    )


def _mac_octets(macs: Sequence[str]) -> NDArray[np.uint8]:
    octets = bytes.fromhex("".join(mac.replace(":", "") for mac in macs))
    return np.frombuffer(octets, dtype=np.uint8).reshape(len(macs), 6)


def _ip_octets(
    addresses: Sequence[IPv4Address | IPv6Address | None], octets: int
) -> NDArray[np.uint8]:
    packed = b"".join(address.packed if address else b"" for address in addresses)
    return np.frombuffer(packed, dtype=np.uint8).reshape(len(addresses), octets)
