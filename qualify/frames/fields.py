"""Big-endian fields of many frames at once."""

import numpy as np
from numpy.typing import NDArray


def read_field(frames: NDArray[np.uint8], *, at: int, octets: int) -> NDArray[np.int64]:
    """Return a field of 2, 4 or 6 octets as one number for each frame.

    Args:
        frames: shape (n, octets of a frame).
        at: offset of the field.
        octets: its length.
    """
    words = frames[:, at : at + octets].view(">u2").astype(np.int64)
    field = words[:, 0]
    for column in range(1, words.shape[1]):
        field = field << 16 | words[:, column]
    return field


def write_field(
    frames: NDArray[np.uint8], values: NDArray[np.int64], *, at: int, octets: int
) -> None:
    """Write a number into a field of 2, 4 or 6 octets of each frame, in place."""
    words = frames[:, at : at + octets].view(">u2")
    for column in range(words.shape[1]):
        words[:, -1 - column] = values >> 16 * column & 0xFFFF
