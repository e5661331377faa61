"""Internet checksums of many frames at once, brought up to date instead of computed again."""

import numpy as np
from numpy.typing import NDArray

_ALL_ONES = np.uint64(0xFFFF)
_CARRY = np.uint64(16)


def read_words(frames: NDArray[np.uint8], *, at: int, octets: int) -> NDArray[np.uint64]:
    """Return the 16-bit words of a field in every frame, shape (n, octets / 2)."""
    return frames[:, at : at + octets].view(">u2").astype(np.uint64)


def update_checksums(
    checksums: NDArray[np.uint64], *, before: NDArray[np.uint64], after: NDArray[np.uint64]
) -> NDArray[np.uint64]:
    """Return the checksums that hold after words of the data changed.

    Args:
        checksums: the checksums that held before, shape (n,).
        before: the words that are replaced, shape (n, words).
        after: the words that replace them, same shape.

    Source:
        RFC 1624, equation 3: HC' = ~(~HC + ~m + m').
    """
    total: NDArray[np.uint64] = (
        (checksums ^ _ALL_ONES)
        + (before ^ _ALL_ONES).sum(axis=1, dtype=np.uint64)
        + after.sum(axis=1, dtype=np.uint64)
    )
    # Two rounds fold any sum of fewer than 65 536 words.
    for _ in range(2):
        total = (total & _ALL_ONES) + (total >> _CARRY)
    return total ^ _ALL_ONES


def write_checksums(
    frames: NDArray[np.uint8], checksums: NDArray[np.uint64], *, at: int, zero_means_none: bool
) -> None:
    """Write the checksums into the frames.

    Args:
        frames: changed in place, shape (n, octets).
        checksums: shape (n,).
        at: offset of the field.
        zero_means_none: the protocol writes all ones for zero, as UDP does (RFC 768).
    """
    if zero_means_none:
        checksums = np.where(checksums == 0, _ALL_ONES, checksums)
    frames[:, at : at + 2].view(">u2")[:, 0] = checksums
