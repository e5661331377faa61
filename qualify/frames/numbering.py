"""From a template to numbered frames and back, thousands at a time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.frames.checksum import udp_form, update_checksum
from qualify.frames.fields import read_field, write_field
from qualify.frames.layout import (
    NUMBER_AT,
    NUMBER_MODULUS,
    PAYLOAD_END,
    RUN_ID_AT,
    SENT_AT,
    SENT_MODULUS,
    STREAM_AT,
    UDP_CHECKSUM_AT,
)


@dataclass(frozen=True, slots=True)
class Numbers:
    """What frames say about themselves, one entry for each frame.

    ``number`` is the sequence number modulo 2^32, ``sent_ns`` CLOCK_REALTIME modulo 2^48.
    """

    run_id: NDArray[np.int64]
    stream: NDArray[np.int64]
    number: NDArray[np.int64]
    sent_ns: NDArray[np.int64]


def number_frames(
    template: NDArray[np.uint8],
    *,
    first: int,
    count: int,
    sent_ns: int | NDArray[np.int64] = 0,
) -> NDArray[np.uint8]:
    """Return ready frames with consecutive numbers and right checksums.

    Frame n is made from row ``n % len(template)``: destinations are visited round robin.

    Args:
        template: one frame for each destination, shape (destinations, octets).
        first: number of the first frame.
        count: how many frames.
        sent_ns: transmit time, of all frames or shape (count,); stamp_frames can set it later.

    Returns:
        The frames without check sequence, shape (count, octets).
    """
    numbers = first + np.arange(count, dtype=np.int64)
    frames: NDArray[np.uint8] = template[numbers % len(template)]
    _replace(frames, numbers % NUMBER_MODULUS, at=NUMBER_AT, octets=SENT_AT - NUMBER_AT)
    stamp_frames(frames, sent_ns)
    return frames


def stamp_frames(frames: NDArray[np.uint8], sent_ns: int | NDArray[np.int64]) -> None:
    """Write the transmit time into numbered frames, in place, and mend the checksums.

    Args:
        frames: shape (n, octets).
        sent_ns: of all frames, or shape (n,).
    """
    times = np.broadcast_to(np.asarray(sent_ns, dtype=np.int64) % SENT_MODULUS, len(frames))
    _replace(frames, times, at=SENT_AT, octets=PAYLOAD_END - SENT_AT)


def stamp_frame(frame: bytearray, sent_ns: int) -> None:
    """Do the same to a single frame, thirty times faster than with an array of one."""
    before = int.from_bytes(frame[SENT_AT:PAYLOAD_END])
    after = sent_ns % SENT_MODULUS
    old = int.from_bytes(frame[UDP_CHECKSUM_AT : UDP_CHECKSUM_AT + 2])
    fresh = udp_form(update_checksum(old, before=before, after=after))
    frame[SENT_AT:PAYLOAD_END] = after.to_bytes(PAYLOAD_END - SENT_AT)
    frame[UDP_CHECKSUM_AT : UDP_CHECKSUM_AT + 2] = fresh.to_bytes(2)


def read_numbers(frames: NDArray[np.uint8]) -> Numbers:
    """Read numbered frames; the exact inverse of number_frames.

    Args:
        frames: test frames only (see our_frame_filter), at least 60 octets of each, (n, octets).
    """
    return Numbers(
        run_id=read_field(frames, at=RUN_ID_AT, octets=STREAM_AT - RUN_ID_AT),
        stream=read_field(frames, at=STREAM_AT, octets=NUMBER_AT - STREAM_AT),
        number=read_field(frames, at=NUMBER_AT, octets=SENT_AT - NUMBER_AT),
        sent_ns=read_field(frames, at=SENT_AT, octets=PAYLOAD_END - SENT_AT),
    )


def _replace(frames: NDArray[np.uint8], values: NDArray[np.int64], *, at: int, octets: int) -> None:
    """Write a field of the payload and mend the UDP checksum."""
    before = read_field(frames, at=at, octets=octets)
    old = read_field(frames, at=UDP_CHECKSUM_AT, octets=2)
    fresh = udp_form(update_checksum(old, before=before, after=values))
    write_field(frames, values, at=at, octets=octets)
    write_field(frames, fresh, at=UDP_CHECKSUM_AT, octets=2)
