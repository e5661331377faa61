"""Where everything stands in a test frame: headers of one of three kinds, then 18 octets of ours.

==================  ============================================================================
octets              content, big-endian
==================  ============================================================================
14                  Ethernet: target MAC, source MAC, EtherType
4 for each tag      VLAN tags: one is 802.1Q (0x8100); of two the outer one is 802.1ad (0x88a8)
28                  ``ipv4`` (0x0800): no options, not to be fragmented; then UDP
48                  ``ipv6`` (0x86dd): no extension headers; then UDP
0                   ``ethernet`` (0x88b5, IEEE 802 local experimental): nothing
18                  the payload, see below
…                   fill up to the frame size
==================  ============================================================================

UDP: source port 49184, destination port 7, length, checksum. The payload:

======  ======  ==================================================================
offset  octets  content, big-endian
======  ======  ==================================================================
0       2       magic number, 0x5155
2       4       run id: frames of another run are not ours
6       2       stream
8       4       sequence number modulo 2^32
12      6       transmit time: CLOCK_REALTIME in nanoseconds modulo 2^48 (78 hours)
======  ======  ==================================================================

A frame size counts from the target MAC to the frame check sequence, tags included (RFC 2544 §9).
The port adds the check sequence, so 4 octets less are built. The smallest Ethernet frame, 64
octets, just holds the payload behind IPv4 and UDP.

Source:
    RFC 2544 C.2.6.4, the UDP echo test frame, for the ports and the length fields.
"""

from dataclasses import dataclass

from qualify.errors import PlanError
from qualify.testbed.frame_sizes import LARGEST_FRAME_OCTETS
from qualify.testbed.testbed import Headers

TYPE_AT = 12
ETHERNET_OCTETS = 14
TAG_OCTETS = 4
UDP_OCTETS = 8
PAYLOAD_OCTETS = 18
FCS_OCTETS = 4
SMALLEST_FRAME_OCTETS = 64

TAG_TYPE = 0x8100
OUTER_TAG_TYPE = 0x88A8
ETHER_TYPES = {Headers.ETHERNET: 0x88B5, Headers.IPV4: 0x0800, Headers.IPV6: 0x86DD}
IP_OCTETS = {Headers.ETHERNET: 0, Headers.IPV4: 20, Headers.IPV6: 40}
# Source and target address follow one another: where, behind the Ethernet header, and how long.
_ADDRESSES_AT = {Headers.ETHERNET: 0, Headers.IPV4: 12, Headers.IPV6: 8}
_ADDRESS_OCTETS = {Headers.ETHERNET: 0, Headers.IPV4: 4, Headers.IPV6: 16}

# Offsets in the payload.
RUN_ID, STREAM, NUMBER, SENT = 2, 6, 8, 12

MAGIC = 0x5155
UDP_SOURCE = 0xC020
UDP_DESTINATION = 7

NUMBER_MODULUS = 1 << 32
SENT_MODULUS = 1 << 48


@dataclass(frozen=True, slots=True)
class Layout:
    """The headers of a test frame and the VLAN ids of its tags, the outer one first.

    All offsets count from the target MAC address, in the frame as it is sent.
    """

    headers: Headers = Headers.IPV4
    vlans: tuple[int, ...] = ()

    @property
    def received(self) -> "Layout":
        """The layout in which a packet socket shows the frame.

        The kernel takes off the outer tag and hands it over beside the frame; the rest is as sent.
        """
        return Layout(self.headers, self.vlans[1:])

    @property
    def ether_type(self) -> int:
        """What stands behind the MAC addresses: the type of the outer tag, or of the headers."""
        if not self.vlans:
            return ETHER_TYPES[self.headers]
        return TAG_TYPE if len(self.vlans) == 1 else OUTER_TAG_TYPE

    @property
    def network_at(self) -> int:
        """Where what the EtherType announces begins."""
        return ETHERNET_OCTETS + TAG_OCTETS * len(self.vlans)

    @property
    def has_udp(self) -> bool:
        """Whether there are IP and UDP headers, and so checksums."""
        return self.headers is not Headers.ETHERNET

    @property
    def payload_at(self) -> int:
        """Where the payload begins."""
        udp_octets = UDP_OCTETS if self.has_udp else 0
        return self.network_at + IP_OCTETS[self.headers] + udp_octets

    @property
    def payload_end(self) -> int:
        """How long a frame is at least: everything up to the end of the payload."""
        return self.payload_at + PAYLOAD_OCTETS

    @property
    def ip_checksum_at(self) -> int | None:
        """Where the header checksum of IPv4 is; IPv6 has none."""
        return self.network_at + 10 if self.headers is Headers.IPV4 else None

    @property
    def udp_checksum_at(self) -> int | None:
        """Where the checksum of UDP is, which covers addresses and payload."""
        return self.payload_at - 2 if self.has_udp else None

    @property
    def address_octets(self) -> int:
        """The length of an IP address; 0 without IP."""
        return _ADDRESS_OCTETS[self.headers]

    @property
    def addresses_at(self) -> int:
        """Where the source IP address begins; the target address follows it."""
        return self.network_at + _ADDRESSES_AT[self.headers]

    @property
    def number_at(self) -> int:
        """Where the sequence number is, 4 octets."""
        return self.payload_at + NUMBER

    @property
    def sent_at(self) -> int:
        """Where the transmit time is, 6 octets."""
        return self.payload_at + SENT

    @property
    def smallest_frame_octets(self) -> int:
        """The smallest frame size that holds headers and payload."""
        return max(SMALLEST_FRAME_OCTETS, self.payload_end + FCS_OCTETS)


PLAIN = Layout()
"""IPv4 and UDP without a tag."""


@dataclass(frozen=True, slots=True)
class Lengths:
    """How many octets of a frame are built, and its length fields; ``None`` where it has none.

    ``ip`` is the total length in IPv4 and the payload length in IPv6.
    """

    built_octets: int
    ip: int | None
    udp: int | None


def frame_lengths(frame_octets: int, layout: Layout = PLAIN) -> Lengths:
    """Return the length fields that belong to a frame size.

    Raises:
        PlanError: headers and payload do not fit in, or no port carries so large a frame.

    Source:
        RFC 2544 C.2.6.4: without a tag, IPv4 total length is frame - 18, UDP length frame - 38.
    """
    if not layout.smallest_frame_octets <= frame_octets <= LARGEST_FRAME_OCTETS:
        raise PlanError(
            f"a frame of {frame_octets} octets cannot be sent",
            fix=f"choose {layout.smallest_frame_octets} to {LARGEST_FRAME_OCTETS} octets, "
            "counted from MAC address to check sequence",
        )
    built_octets = frame_octets - FCS_OCTETS
    if not layout.has_udp:
        return Lengths(built_octets, None, None)
    packet = built_octets - layout.network_at
    udp = packet - IP_OCTETS[layout.headers]
    return Lengths(built_octets, packet if layout.headers is Headers.IPV4 else udp, udp)
