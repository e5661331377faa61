"""Largest frame rates of Ethernet: RFC 2544 appendix B and RFC 5180 appendix A.1."""

import pytest

from qualify.frames import max_frame_rate

M, G = 10**6, 10**9


@pytest.mark.parametrize(
    ("speed_bps", "frame_octets", "rate_pps"),
    [
        (10 * M, 64, 14_880),
        (G, 64, 1_488_095),
        (10 * G, 64, 14_880_952),
        (G, 1518, 81_274),
        (10 * G, 1518, 812_743),
    ],
)
def test_O_RATE_01_02_rates_are_those_printed(
    speed_bps: int, frame_octets: int, rate_pps: int
) -> None:
    """RFC 2544 appendix B; RFC 5180 appendix A.1."""
    assert max_frame_rate(speed_bps, [frame_octets]) == rate_pps


@pytest.mark.parametrize(
    ("speed_bps", "frame_octets", "rate_pps"),
    [(G, 4096, 30_369), (10 * G, 4096, 303_692), (G, 9216, 13_533)],
)
def test_O_RATE_03_rates_that_rfc_5180_misprints_follow_the_arithmetic(
    speed_bps: int, frame_octets: int, rate_pps: int
) -> None:
    """RFC 5180 appendix A.1 prints 30 396, 303 691 and 13 534."""
    assert max_frame_rate(speed_bps, [frame_octets]) == rate_pps


@pytest.mark.parametrize(
    ("speed_bps", "smallest_pps", "largest_pps"),
    [
        (25 * G, 37_202_380, 2_031_859),
        (40 * G, 59_523_809, 3_250_975),
        (100 * G, 148_809_523, 8_127_438),
        (400 * G, 595_238_095, 32_509_752),
    ],
)
def test_O_RATE_04_faster_ports_follow_the_same_arithmetic(
    speed_bps: int, smallest_pps: int, largest_pps: int
) -> None:
    """RFC 5180 appendix A.1, continued."""
    assert max_frame_rate(speed_bps, [64]) == smallest_pps
    assert max_frame_rate(speed_bps, [1518]) == largest_pps


def test_a_mix_takes_as_long_as_its_frames_together() -> None:
    """64 + 1518 octets and two gaps of 20 are 12 976 bits for two frames."""
    assert max_frame_rate(G, [64, 1518]) == 154_130
