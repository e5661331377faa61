"""Where everything stands in a test frame: Ethernet, IPv4, UDP, then 18 octets of our own.

======  ======  ==================================================================
offset  octets  content, big-endian
======  ======  ==================================================================
0       14      Ethernet: target MAC, source MAC, type 0x0800
14      20      IPv4 without options, protocol 17, not to be fragmented
34      8       UDP: source port 49184, destination port 7, length, checksum
42      2       magic number, 0x5155
44      4       run id: frames of another run are not ours
48      2       stream
50      4       sequence number modulo 2^32
54      6       transmit time: CLOCK_REALTIME in nanoseconds modulo 2^48 (78 hours)
60      …       fill up to the frame size
======  ======  ==================================================================

A frame size counts from the target MAC to the frame check sequence (RFC 2544 §9). The port adds
the check sequence, so 4 octets less are built. The smallest Ethernet frame, 64 octets, just holds
the payload. A VLAN tag on the wire does not move anything: the kernel takes it off beforehand.

Source:
    RFC 2544 C.2.6.4, the UDP echo test frame, for the ports and the length fields.
"""

from dataclasses import dataclass

from qualify.errors import PlanError

IPV4_AT = 14
IPV4_CHECKSUM_AT = 24
IPV4_SOURCE_AT = 26
IPV4_TARGET_AT = 30
UDP_AT = 34
UDP_CHECKSUM_AT = 40
PAYLOAD_AT = 42
RUN_ID_AT = 44
STREAM_AT = 48
NUMBER_AT = 50
SENT_AT = 54
PAYLOAD_END = 60

PAYLOAD_OCTETS = 18
FCS_OCTETS = 4
SMALLEST_FRAME_OCTETS = 64
LARGEST_FRAME_OCTETS = 9216

MAGIC = 0x5155
UDP_SOURCE = 0xC020
UDP_DESTINATION = 7

NUMBER_MODULUS = 1 << 32
SENT_MODULUS = 1 << 48


@dataclass(frozen=True, slots=True)
class Lengths:
    """The length fields of a test frame, and how many octets of it are built."""

    built_octets: int
    ipv4_total: int
    udp: int


def frame_lengths(frame_octets: int) -> Lengths:
    """Return the length fields that belong to a frame size.

    Raises:
        PlanError: the payload does not fit in, or no port carries so large a frame.

    Source:
        RFC 2544 C.2.6.4: IP total length is frame - 18, UDP length frame - 38.
    """
    if not SMALLEST_FRAME_OCTETS <= frame_octets <= LARGEST_FRAME_OCTETS:
        raise PlanError(
            f"a frame of {frame_octets} octets cannot be sent",
            fix=f"choose {SMALLEST_FRAME_OCTETS} to {LARGEST_FRAME_OCTETS} octets, "
            "counted from MAC address to check sequence",
        )
    return Lengths(
        built_octets=frame_octets - FCS_OCTETS,
        ipv4_total=frame_octets - 18,
        udp=frame_octets - 38,
    )
