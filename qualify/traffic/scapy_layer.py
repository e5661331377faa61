"""The test payload as a scapy layer: with it, a capture opened in scapy shows our numbers.

For example::

    from scapy.utils import rdpcap
    from qualify.traffic.scapy_layer import NumberedPayload

    print([packet[NumberedPayload].number for packet in rdpcap("capture.pcap")])
"""

from typing import ClassVar

from scapy.fields import AnyField, BitField, IntField, ShortField, XIntField, XShortField
from scapy.layers.inet import UDP
from scapy.layers.l2 import Dot1AD, Dot1Q, Ether
from scapy.packet import Packet, bind_layers

from qualify.frames import MAGIC, UDP_DESTINATION, UDP_SOURCE
from qualify.frames.layout import ETHER_TYPES
from qualify.testbed.testbed import Headers


class NumberedPayload(Packet):
    """The 18 octets behind the headers; see qualify.frames.layout for their meaning."""

    name = "NumberedPayload"
    fields_desc: ClassVar[list[AnyField]] = [
        XShortField("magic", MAGIC),
        XIntField("run_id", 0),
        ShortField("stream", 0),
        IntField("number", 0),
        BitField("sent_ns", 0, 48),
    ]


bind_layers(UDP, NumberedPayload, sport=UDP_SOURCE, dport=UDP_DESTINATION)
for _below in (Ether, Dot1Q, Dot1AD):
    bind_layers(_below, NumberedPayload, type=ETHER_TYPES[Headers.ETHERNET])
