"""Durations in the file are the nanoseconds inside, to the last digit."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.errors import RecordError
from qualify.record.place import Place
from qualify.record.written import FileUnit

MS = FileUnit("ms", 6)
S = FileUnit("s", 9)
PLACE = Place("r.json", "trials[0].streams[0].outage_ms")


@pytest.mark.parametrize(
    ("duration_ns", "text"),
    [
        (0, "0"),
        (1, "0.000001"),
        (48_300_000, "48.3"),
        (48_300_001, "48.300001"),
        (50_000_000, "50"),
        (1_200_000_000, "1200"),
        (-2_500_000, "-2.5"),
        (9_007_199_254_740_993, "9007199254.740993"),
    ],
)
def test_milliseconds_are_written_exactly(duration_ns: int, text: str) -> None:
    assert format(MS.write(duration_ns), "f") == text


def test_seconds_have_nine_places() -> None:
    assert format(S.write(12_345_678_901), "f") == "12.345678901"


@given(st.integers(-(10**21), 10**21))
def test_every_duration_comes_back(duration_ns: int) -> None:
    assert MS.read(MS.write(duration_ns), PLACE) == duration_ns
    assert S.read(S.write(duration_ns), PLACE) == duration_ns


@pytest.mark.parametrize(
    ("text", "duration_ns"),
    [("48.30", 48_300_000), ("48.3000000", 48_300_000), ("5E+1", 50_000_000)],
)
def test_other_ways_to_write_the_same_number_are_read(text: str, duration_ns: int) -> None:
    assert MS.read(Decimal(text), PLACE) == duration_ns


def test_a_number_finer_than_a_nanosecond_is_refused() -> None:
    with pytest.raises(
        RecordError, match=r"r\.json trials\[0\]\.streams\[0\]\.outage_ms: 0\.0000015 is finer"
    ):
        MS.read(Decimal("0.0000015"), PLACE)


@pytest.mark.parametrize("text", ["1E+999999", "1E-999999", "NaN", "Infinity"])
def test_a_number_out_of_all_proportion_is_refused(text: str) -> None:
    with pytest.raises(RecordError, match="this number is no duration"):
        MS.read(Decimal(text), PLACE)


def test_the_key_carries_the_unit_of_the_file() -> None:
    assert MS.key("outage_low_ns") == "outage_low_ms"
    assert S.key("upgrade_ns") == "upgrade_s"
