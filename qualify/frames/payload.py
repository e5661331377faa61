"""One test payload, written and read octet by octet: the reference for the fast path."""

import struct
from dataclasses import dataclass

from qualify.frames.layout import (
    MAGIC,
    NUMBER_MODULUS,
    PAYLOAD_OCTETS,
    SENT_MODULUS,
)

_FORMAT = struct.Struct("!HIHI6s")


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
    """Read the octets behind the UDP header; ``None`` when they are not a test payload."""
    if len(octets) < PAYLOAD_OCTETS:
        return None
    magic, run_id, stream, number, sent = _FORMAT.unpack_from(octets)
    if magic != MAGIC:
        return None
    return Payload(run_id, stream, number, int.from_bytes(sent, "big"))
