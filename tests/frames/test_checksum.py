"""The example of RFC 1624 §4."""

import numpy as np

from qualify.frames.checksum import update_checksums


def test_the_example_of_rfc_1624_gives_zero() -> None:
    """HC = 0xDD2F, a word 0x5555 becomes 0x3285: the right checksum is 0x0000, not 0xFFFF."""
    updated = update_checksums(
        np.array([0xDD2F], dtype=np.uint64),
        before=np.array([[0x5555]], dtype=np.uint64),
        after=np.array([[0x3285]], dtype=np.uint64),
    )
    assert updated.tolist() == [0x0000]
