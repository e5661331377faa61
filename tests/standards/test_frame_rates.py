"""RFC 2544 Appendix B and RFC 5180 Appendix A.1: the highest frame rates of Ethernet.

The tables are typed from the RFCs, for 10 Mb/s, 100 Mb/s, 1 Gb/s and 10 Gb/s.
"""

import pytest

from qualify.units import max_frame_rate

SPEEDS = (10**7, 10**8, 10**9, 10**10)
RFC_2544_B = {
    64: 14_880,
    128: 8_445,
    256: 4_528,
    512: 2_349,
    768: 1_586,
    1024: 1_197,
    1280: 961,
    1518: 812,
}
RFC_5180_A1 = {
    64: (14_880, 148_809, 1_488_095, 14_880_952),
    128: (8_445, 84_459, 844_594, 8_445_945),
    256: (4_528, 45_289, 452_898, 4_528_985),
    512: (2_349, 23_496, 234_962, 2_349_624),
    1024: (1_197, 11_973, 119_731, 1_197_318),
    1280: (961, 9_615, 96_153, 961_538),
    1518: (812, 8_127, 81_274, 812_743),
    1522: (810, 8_106, 81_063, 810_635),
    2048: (604, 6_044, 60_444, 604_448),
    # The RFC prints 30 396 and 303 691: digits swapped, and rounded otherwise than it says.
    4096: (303, 3_036, 30_369, 303_692),
    8192: (152, 1_522, 15_221, 152_216),
    # The RFC prints 13 534 for 1 Gb/s: rounded up.
    9216: (135, 1_353, 13_533, 135_339),
}


@pytest.mark.parametrize(("octets", "rate_pps"), RFC_2544_B.items())
def test_o_rate_01_ten_megabits(octets: int, rate_pps: int) -> None:
    """RFC 2544 Appendix B."""
    assert max_frame_rate(10**7, frame_octets=octets) == rate_pps


@pytest.mark.parametrize(("octets", "rates_pps"), RFC_5180_A1.items())
def test_o_rate_02_and_03_all_speeds(octets: int, rates_pps: tuple[int, ...]) -> None:
    """RFC 5180 Appendix A.1, three misprints corrected by its own formula."""
    assert tuple(max_frame_rate(speed, frame_octets=octets) for speed in SPEEDS) == rates_pps


@pytest.mark.parametrize(
    ("gigabits", "smallest_pps", "largest_pps"),
    [
        (25, 37_202_380, 2_031_859),
        (40, 59_523_809, 3_250_975),
        (100, 148_809_523, 8_127_438),
        (400, 595_238_095, 32_509_752),
    ],
)
def test_o_rate_04_faster_ports(gigabits: int, smallest_pps: int, largest_pps: int) -> None:
    """Derived from the formula of RFC 2544 Appendix B."""
    speed = gigabits * 10**9
    assert max_frame_rate(speed, frame_octets=64) == smallest_pps
    assert max_frame_rate(speed, frame_octets=1518) == largest_pps
