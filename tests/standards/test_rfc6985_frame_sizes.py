"""Names of mixes of frame sizes: RFC 6985 §4; sizes to test with: RFC 2544 §9, RFC 5180 §5.1.1."""

import pytest

from qualify.frames import Layout, frame_lengths
from qualify.testbed.frame_sizes import OCTETS_OF_LETTER, name_sizes, read_size_name


def test_O_SIZE_05_the_example_of_rfc_6985() -> None:
    """RFC 6985 §4: 64, 64, 64, 1280, 1518 is IMIX - aaafg."""
    assert name_sizes((64, 64, 64, 1280, 1518)) == "IMIX - aaafg"
    assert read_size_name("IMIX - aaafg", mtu_frame_octets=None) == (64, 64, 64, 1280, 1518)
    assert read_size_name("aaafg", mtu_frame_octets=None) == (64, 64, 64, 1280, 1518)


def test_O_SIZE_05_the_letters_of_rfc_6985() -> None:
    """RFC 6985 §4, the table."""
    assert OCTETS_OF_LETTER == {
        "a": 64,
        "b": 128,
        "c": 256,
        "d": 512,
        "e": 1024,
        "f": 1280,
        "g": 1518,
        "h": 2112,
        "i": 9000,
        "j": 16000,
    }


def test_O_SIZE_05_the_letter_z_is_the_mtu_which_is_stated() -> None:
    """RFC 6985 §4."""
    assert read_size_name("aaz", mtu_frame_octets=9216) == (64, 64, 9216)


def test_a_size_that_has_no_letter_has_no_name() -> None:
    assert name_sizes((64, 65)) is None


@pytest.mark.parametrize("frame_octets", [64, 128, 256, 512, 1024, 1280, 1518, 4096, 8192, 9216])
def test_O_SIZE_01_03_common_sizes_can_be_sent(frame_octets: int) -> None:
    """RFC 2544 §9.1 and RFC 5180 §5.1.1, with the jumbo examples of the latter."""
    assert frame_lengths(frame_octets).built_octets == frame_octets - 4


def test_O_SIZE_02_a_tag_makes_the_largest_usual_frame_1522_octets() -> None:
    """RFC 5180 §5.1.1: the IP packet in it is then still one of 1500 octets."""
    assert frame_lengths(1522, Layout(vlans=(10,))).ip == 1500
