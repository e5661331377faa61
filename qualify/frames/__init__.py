"""From a stream to numbered frames, and from received octets back to numbers."""

from qualify.frames.layout import (
    MAGIC,
    PAYLOAD_AT,
    PAYLOAD_OCTETS,
    UDP_DESTINATION,
    UDP_SOURCE,
    Lengths,
    frame_lengths,
)
from qualify.frames.numbering import Numbers, number_frames, read_numbers, stamp_frame, stamp_frames
from qualify.frames.packet_filter import foreign_frame_filter, our_frame_filter, pack_filter
from qualify.frames.payload import Payload, read_payload, write_payload
from qualify.frames.template import FrameAddresses, address_template

__all__ = [
    "MAGIC",
    "PAYLOAD_AT",
    "PAYLOAD_OCTETS",
    "UDP_DESTINATION",
    "UDP_SOURCE",
    "FrameAddresses",
    "Lengths",
    "Numbers",
    "Payload",
    "address_template",
    "foreign_frame_filter",
    "frame_lengths",
    "number_frames",
    "our_frame_filter",
    "pack_filter",
    "read_numbers",
    "read_payload",
    "stamp_frame",
    "stamp_frames",
    "write_payload",
]
