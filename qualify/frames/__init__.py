"""From a stream to numbered frames, and from received octets back to numbers."""

from qualify.frames.layout import (
    MAGIC,
    PAYLOAD_OCTETS,
    PLAIN,
    UDP_DESTINATION,
    UDP_SOURCE,
    Layout,
    Lengths,
    frame_lengths,
)
from qualify.frames.numbering import Numbers, number_frames, read_numbers, stamp_frame, stamp_frames
from qualify.frames.packet_filter import foreign_frame_filter, our_frame_filter, pack_filter
from qualify.frames.payload import Payload, find_payload, read_payload, write_payload
from qualify.frames.rate import max_frame_rate
from qualify.frames.template import FrameAddresses, Templates, make_templates

__all__ = [
    "MAGIC",
    "PAYLOAD_OCTETS",
    "PLAIN",
    "UDP_DESTINATION",
    "UDP_SOURCE",
    "FrameAddresses",
    "Layout",
    "Lengths",
    "Numbers",
    "Payload",
    "Templates",
    "find_payload",
    "foreign_frame_filter",
    "frame_lengths",
    "make_templates",
    "max_frame_rate",
    "number_frames",
    "our_frame_filter",
    "pack_filter",
    "read_numbers",
    "read_payload",
    "stamp_frame",
    "stamp_frames",
    "write_payload",
]
