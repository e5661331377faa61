"""Internet checksums, brought up to date for what changed instead of computed again.

Ones' complement addition of 16-bit words is addition modulo 65 535, and there 65 536 counts as
one: a field of any even length at an even offset can be taken as a single number.
"""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

_MODULUS = 0xFFFF
_UDP_ALL_ONES = 0xFFFF

N = TypeVar("N", int, NDArray[np.int64])


def update_checksum(checksum: N, *, before: N, after: N) -> N:
    """Return the checksum that holds after fields of the data changed.

    Works on one frame (int) or on many (arrays of equal shape).

    Args:
        checksum: what held before.
        before: the sum of the fields that are replaced, each as one big-endian number.
        after: the sum of the fields that replace them.

    Source:
        RFC 1624, equation 4: HC' = HC - ~m - m', where -~m is +m.
    """
    return (checksum + before - after) % _MODULUS


def udp_form(checksum: N) -> N:
    """Return the checksum as UDP writes it: all ones for zero, which means "none" (RFC 768)."""
    written: N = checksum + (checksum == 0) * _UDP_ALL_ONES
    return written
