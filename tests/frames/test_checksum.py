"""The example of RFC 1624 §4."""

import numpy as np

from qualify.frames.checksum import udp_form, update_checksum


def test_the_example_of_rfc_1624_gives_zero() -> None:
    """HC = 0xDD2F, a word 0x5555 becomes 0x3285: the right checksum is 0x0000, not 0xFFFF."""
    assert update_checksum(0xDD2F, before=0x5555, after=0x3285) == 0x0000


def test_many_checksums_are_updated_at_once() -> None:
    updated = update_checksum(
        np.array([0xDD2F, 0xDD2F], dtype=np.int64),
        before=np.array([0x5555, 0x5555], dtype=np.int64),
        after=np.array([0x3285, 0x3284], dtype=np.int64),
    )
    assert updated.tolist() == [0x0000, 0x0001]


def test_udp_writes_zero_as_all_ones() -> None:
    assert [udp_form(checksum) for checksum in (0, 1, 0xFFFE)] == [0xFFFF, 1, 0xFFFE]
