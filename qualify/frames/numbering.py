"""From a template to numbered frames and back, thousands at a time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.frames.checksum import read_words, update_checksums, write_checksums
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
    before = read_words(frames, at=NUMBER_AT, octets=PAYLOAD_END - NUMBER_AT)
    frames[:, NUMBER_AT:SENT_AT].view(">u4")[:, 0] = numbers % NUMBER_MODULUS
    _write_times(frames, sent_ns)
    _mend_checksum(frames, before, at=NUMBER_AT)
    return frames


def stamp_frames(frames: NDArray[np.uint8], sent_ns: int | NDArray[np.int64]) -> None:
    """Write the transmit time into numbered frames, in place, and mend the checksums.

    Args:
        frames: shape (n, octets).
        sent_ns: of all frames, or shape (n,).
    """
    before = read_words(frames, at=SENT_AT, octets=PAYLOAD_END - SENT_AT)
    _write_times(frames, sent_ns)
    _mend_checksum(frames, before, at=SENT_AT)


def read_numbers(frames: NDArray[np.uint8]) -> Numbers:
    """Read numbered frames; the exact inverse of number_frames.

    Args:
        frames: test frames only (see our_frame_filter), at least 60 octets of each, (n, octets).
    """
    return Numbers(
        run_id=_join(frames[:, RUN_ID_AT:STREAM_AT]),
        stream=_join(frames[:, STREAM_AT:NUMBER_AT]),
        number=_join(frames[:, NUMBER_AT:SENT_AT]),
        sent_ns=_join(frames[:, SENT_AT:PAYLOAD_END]),
    )


def _write_times(frames: NDArray[np.uint8], sent_ns: int | NDArray[np.int64]) -> None:
    times = np.asarray(sent_ns, dtype=np.int64) % SENT_MODULUS
    words = frames[:, SENT_AT:PAYLOAD_END].view(">u2")
    for column, shift in enumerate((32, 16, 0)):
        words[:, column] = times >> shift & 0xFFFF


def _mend_checksum(frames: NDArray[np.uint8], before: NDArray[np.uint64], *, at: int) -> None:
    after = read_words(frames, at=at, octets=PAYLOAD_END - at)
    old = read_words(frames, at=UDP_CHECKSUM_AT, octets=2)[:, 0]
    checksums = update_checksums(old, before=before, after=after)
    write_checksums(frames, checksums, at=UDP_CHECKSUM_AT, zero_means_none=True)


def _join(field: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Join the 16-bit words of a field, highest first, into one number for each row."""
    words = field.view(">u2").astype(np.int64)
    joined = np.zeros(len(words), dtype=np.int64)
    for column in range(words.shape[1]):
        joined = joined << 16 | words[:, column]
    return joined
