"""One test payload, written and read octet by octet: the reference for the fast path."""

import struct
from dataclasses import dataclass

from qualify.frames.layout import (
    ETHER_TYPES,
    MAGIC,
    NUMBER_MODULUS,
    OUTER_TAG_TYPE,
    PAYLOAD_OCTETS,
    SENT_MODULUS,
    TAG_OCTETS,
    TAG_TYPE,
    TYPE_AT,
    Layout,
)

_FORMAT = struct.Struct("!HIHI6s")
_TAG_TYPES = frozenset((TAG_TYPE, OUTER_TAG_TYPE))
_PAYLOAD_BEHIND_TYPE = {
    ether_type: Layout(headers).payload_at - TYPE_AT for headers, ether_type in ETHER_TYPES.items()
}


@dataclass(frozen=True, slots=True)
class Payload:
    """What a test frame says about itself.

    ``number`` is the sequence number modulo 2^32, ``sent_ns`` CLOCK_REALTIME modulo 2^48.
    """

    run_id: int
    stream: int
    number: int
    sent_ns: int


def write_payload(payload: Payload) -> bytes:
    """Return the 18 octets of a payload; number and time are taken modulo their field."""
    return _FORMAT.pack(
        MAGIC,
        payload.run_id,
        payload.stream,
        payload.number % NUMBER_MODULUS,
        (payload.sent_ns % SENT_MODULUS).to_bytes(6, "big"),
    )


def read_payload(octets: bytes) -> Payload | None:
    """Read the octets behind the headers; ``None`` when they are not a test payload."""
    if len(octets) < PAYLOAD_OCTETS:
        return None
    magic, run_id, stream, number, sent = _FORMAT.unpack_from(octets)
    if magic != MAGIC:
        return None
    return Payload(run_id, stream, number, int.from_bytes(sent, "big"))


def find_payload(frame: bytes) -> Payload | None:
    """Read the payload of a frame in whatever layout, with any number of tags.

    Args:
        frame: a frame that our_frame_filter let through: its headers are not checked again.
    """
    at = TYPE_AT
    while _ether_type(frame, at) in _TAG_TYPES:
        at += TAG_OCTETS
    behind = _PAYLOAD_BEHIND_TYPE.get(_ether_type(frame, at))
    return None if behind is None else read_payload(frame[at + behind :])


def _ether_type(frame: bytes, at: int) -> int:
    return int.from_bytes(frame[at : at + 2])
