"""From templates to numbered frames and back, thousands at a time.

Every function that takes frames works on heads and on whole frames alike: it looks at nothing
behind the payload.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.frames.checksum import udp_form, update_checksum
from qualify.frames.fields import read_field, write_field
from qualify.frames.layout import NUMBER_MODULUS, RUN_ID, SENT_MODULUS, STREAM, Layout
from qualify.frames.template import Templates

_RUN_ID_OCTETS, _STREAM_OCTETS, _NUMBER_OCTETS, _SENT_OCTETS = 4, 2, 4, 6


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
    templates: Templates,
    *,
    first: int,
    count: int,
    sent_ns: int | NDArray[np.int64] = 0,
) -> NDArray[np.uint8]:
    """Return heads with consecutive numbers and right checksums; see Templates for their order.

    What follows a head on the wire is ``templates.fill_behind(number)``.

    Args:
        templates: of the stream.
        first: number of the first frame.
        count: how many frames.
        sent_ns: transmit time, of all frames or shape (count,); stamp_frames can set it later.

    Returns:
        Heads, shape (count, layout.payload_end).
    """
    numbers = first + np.arange(count, dtype=np.int64)
    size = numbers % len(templates.sizes)
    heads: NDArray[np.uint8] = templates.heads[size, numbers % templates.destinations]
    layout = templates.layout
    values = numbers % NUMBER_MODULUS
    _replace(heads, values, at=layout.number_at, octets=_NUMBER_OCTETS, layout=layout)
    stamp_frames(heads, sent_ns, layout)
    return heads


def stamp_frames(
    frames: NDArray[np.uint8], sent_ns: int | NDArray[np.int64], layout: Layout
) -> None:
    """Write the transmit time into numbered frames, in place, and mend the checksums.

    Args:
        frames: shape (n, octets).
        sent_ns: of all frames, or shape (n,).
        layout: of the frames.
    """
    times = np.broadcast_to(np.asarray(sent_ns, dtype=np.int64) % SENT_MODULUS, len(frames))
    _replace(frames, times, at=layout.sent_at, octets=_SENT_OCTETS, layout=layout)


def stamp_frame(frame: bytearray, sent_ns: int, layout: Layout) -> None:
    """Do the same to a single frame, thirty times faster than with an array of one."""
    at, end = layout.sent_at, layout.payload_end
    after = sent_ns % SENT_MODULUS
    if (sum_at := layout.udp_checksum_at) is not None:
        before = int.from_bytes(frame[at:end])
        old = int.from_bytes(frame[sum_at : sum_at + 2])
        fresh = udp_form(update_checksum(old, before=before, after=after))
        frame[sum_at : sum_at + 2] = fresh.to_bytes(2)
    frame[at:end] = after.to_bytes(end - at)


def read_numbers(frames: NDArray[np.uint8], layout: Layout) -> Numbers:
    """Read numbered frames; the exact inverse of number_frames.

    Args:
        frames: test frames only (see our_frame_filter), shape (n, layout.payload_end or more).
        layout: of the frames; that of frames from a packet socket is ``layout.received``.
    """
    at = layout.payload_at
    return Numbers(
        run_id=read_field(frames, at=at + RUN_ID, octets=_RUN_ID_OCTETS),
        stream=read_field(frames, at=at + STREAM, octets=_STREAM_OCTETS),
        number=read_field(frames, at=layout.number_at, octets=_NUMBER_OCTETS),
        sent_ns=read_field(frames, at=layout.sent_at, octets=_SENT_OCTETS),
    )


def _replace(
    frames: NDArray[np.uint8],
    values: NDArray[np.int64],
    *,
    at: int,
    octets: int,
    layout: Layout,
) -> None:
    """Write a field of the payload and mend the UDP checksum."""
    if (sum_at := layout.udp_checksum_at) is not None:
        before = read_field(frames, at=at, octets=octets)
        old = read_field(frames, at=sum_at, octets=2)
        fresh = udp_form(update_checksum(old, before=before, after=values))
        write_field(frames, fresh, at=sum_at, octets=2)
    write_field(frames, values, at=at, octets=octets)
