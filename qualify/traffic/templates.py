"""From a stream to its frames: scapy builds one, every other destination is patched into it."""

import numpy as np
from numpy.typing import NDArray
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether
from scapy.packet import Raw

from qualify.frames import (
    PAYLOAD_OCTETS,
    UDP_DESTINATION,
    UDP_SOURCE,
    FrameAddresses,
    address_template,
    frame_lengths,
)
from qualify.frames.layout import PAYLOAD_AT
from qualify.plan.stream import Destination, Stream
from qualify.traffic.backend import PortAccess
from qualify.traffic.scapy_layer import NumberedPayload


def build_templates(stream: Stream, sender: PortAccess, *, run_id: int) -> NDArray[np.uint8]:
    """Return one frame for each destination, ready for number_frames.

    Args:
        stream: its addresses and frame size; a MAC address of ``None`` is filled in.
        sender: the port that the stream leaves from.
        run_id: goes into every frame.

    Returns:
        Frames with right lengths and checksums, shape (destinations, frame_octets - 4).

    Raises:
        PlanError: the frame size cannot be sent.
    """
    lengths = frame_lengths(stream.frame_octets)
    fill = lengths.built_octets - PAYLOAD_AT - PAYLOAD_OCTETS
    packet = (
        Ether(src=sender.mac, dst=sender.gateway_mac)
        / IP(src="198.18.0.0", dst="198.19.0.0", id=0, flags="DF", len=lengths.ipv4_total)
        / UDP(sport=UDP_SOURCE, dport=UDP_DESTINATION, len=lengths.udp)
        / NumberedPayload(run_id=run_id, stream=stream.number)
        / Raw((np.arange(fill) % 256).astype(np.uint8).tobytes())
    )
    frame = np.frombuffer(bytes(packet), dtype=np.uint8)
    return address_template(frame, _addresses(stream.destinations, sender))


def _addresses(destinations: tuple[Destination, ...], sender: PortAccess) -> FrameAddresses:
    targets = [destination.target_mac or sender.gateway_mac for destination in destinations]
    sources = [destination.source_mac or sender.mac for destination in destinations]
    return FrameAddresses(
        target_macs=_mac_octets(targets),
        source_macs=_mac_octets(sources),
        sources=np.array([int(destination.source) for destination in destinations], np.uint32),
        targets=np.array([int(destination.target) for destination in destinations], np.uint32),
    )


def _mac_octets(macs: list[str]) -> NDArray[np.uint8]:
    octets = bytes.fromhex("".join(mac.replace(":", "") for mac in macs))
    return np.frombuffer(octets, dtype=np.uint8).reshape(len(macs), 6)
