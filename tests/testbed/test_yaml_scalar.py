"""Numbers, text, and what is neither."""

from decimal import Decimal

import pytest

from qualify.testbed.node import Unquoted
from qualify.testbed.yaml_scalar import read_plain


@pytest.mark.parametrize(
    ("text", "value"), [("0", 0), ("7", 7), ("-3", -3), ("999999999999999999", 10**18 - 1)]
)
def test_plain_digits_are_whole_numbers(text: str, value: int) -> None:
    assert read_plain(text) == value
    assert type(read_plain(text)) is int


def test_decimals_stay_exact() -> None:
    assert read_plain("2.3") == Decimal("2.3")
    assert str(read_plain("7.10")) == "7.10"


@pytest.mark.parametrize(
    "text",
    [
        "010", "0x1f", "0o17", "0b11", "1_000", "12:34:56:01:02:03", "1:30", "1e3", "1.5e3", "+5",
        ".5", "5.", ".inf", "-.INF", ".nan", "00", "1234567890123456789", "1:30.5",
    ],
)  # fmt: skip
def test_what_only_some_readers_take_for_a_number_is_neither_number_nor_text(text: str) -> None:
    """YAML 1.1 (int, float) and YAML 1.2.2 §10.3.2 disagree on each of these."""
    assert read_plain(text) == Unquoted(text)


@pytest.mark.parametrize(
    "text", ["on", "off", "yes", "no", "True", "FALSE", "Null", "y", "5.1.0", "02:00:5e:10:00:01",
             "d1/e1", "2026-03-01", "-", "1-2"]
)  # fmt: skip
def test_everything_else_is_text(text: str) -> None:
    assert read_plain(text) == text


def test_only_two_words_are_booleans() -> None:
    assert read_plain("true") is True
    assert read_plain("false") is False


@pytest.mark.parametrize("text", ["", "~", "null"])
def test_nothing_is_nothing(text: str) -> None:
    assert read_plain(text) is None
