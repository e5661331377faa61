"""Numbers as a reason says them."""

from qualify.verdict.words import number_allowed, number_of


def test_one_is_singular_and_everything_else_plural() -> None:
    assert [number_of(number, "frame") for number in (0, 1, 12_000)] == [
        "0 frames",
        "1 frame",
        "12 000 frames",
    ]


def test_zero_allowed_is_none_allowed() -> None:
    assert [number_allowed(number) for number in (0, 1, 1_500)] == [
        "none allowed",
        "1 allowed",
        "1 500 allowed",
    ]
