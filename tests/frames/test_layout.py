"""Length fields of RFC 2544 C.2.6.4."""

import pytest

from qualify.errors import PlanError
from qualify.frames import Lengths, frame_lengths


@pytest.mark.parametrize(
    ("frame_octets", "total", "udp"),
    [(64, 0x002E, 0x001A), (128, 0x006E, 0x005A), (1518, 0x05DC, 0x05C8)],
)
def test_lengths_are_those_printed_in_rfc_2544(frame_octets: int, total: int, udp: int) -> None:
    lengths = frame_lengths(frame_octets)
    assert (lengths.ipv4_total, lengths.udp) == (total, udp)


@pytest.mark.parametrize(
    ("frame_octets", "udp"),
    [(256, 0x00DA), (512, 0x01DA), (768, 0x02DA), (1024, 0x03DA), (1280, 0x04DA)],
)
def test_udp_lengths_that_rfc_2544_misprints_follow_the_arithmetic(
    frame_octets: int, udp: int
) -> None:
    assert frame_lengths(frame_octets).udp == udp


def test_four_octets_less_are_built_because_the_port_adds_the_check_sequence() -> None:
    assert frame_lengths(64) == Lengths(built_octets=60, ipv4_total=46, udp=26)


@pytest.mark.parametrize("frame_octets", [63, 9217])
def test_a_size_that_no_port_carries_is_refused(frame_octets: int) -> None:
    with pytest.raises(PlanError, match=f"a frame of {frame_octets} octets cannot be sent") as e:
        frame_lengths(frame_octets)
    assert e.value.fix.startswith("choose 64 to 9216 octets")
