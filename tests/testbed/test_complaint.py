"""Complaints, one by one and all together."""

from pathlib import Path

import pytest

from qualify.errors import FileError
from qualify.testbed.complaint import Complaint, ComplaintsError, nearest


def complaint(file: str, line: int | None, column: int | None, problem: str) -> Complaint:
    return Complaint(Path(file), line, column, "paths.l2.ports" if line else "", problem, "mend it")


def test_a_complaint_begins_with_the_place_and_ends_with_the_fix() -> None:
    assert str(complaint("testbeds/a.yaml", 6, 15, "too few")) == (
        "testbeds/a.yaml:6:15 paths.l2.ports: too few\n  fix: mend it"
    )


def test_a_complaint_about_a_whole_file_has_no_line() -> None:
    assert str(complaint("a.yaml", None, None, "gone")) == "a.yaml: gone\n  fix: mend it"


def test_a_complaint_about_the_top_of_a_file_has_no_keys() -> None:
    top = Complaint(Path("a.yaml"), 1, 1, "", "no mapping", "write one")
    assert top.where == "a.yaml:1:1"


def test_complaints_of_one_file_are_shown_in_line_order_and_files_stay_together() -> None:
    error = ComplaintsError(
        [
            complaint("b.yaml", 9, 1, "third"),
            complaint("a.yaml", 1, 1, "fourth"),
            complaint("b.yaml", 2, 7, "second"),
            complaint("b.yaml", 2, 1, "first"),
        ]
    )
    assert [each.problem for each in error.complaints] == ["first", "second", "third", "fourth"]
    assert str(error).splitlines()[::2] == [
        "b.yaml:2:1 paths.l2.ports: first",
        "b.yaml:2:7 paths.l2.ports: second",
        "b.yaml:9:1 paths.l2.ports: third",
        "a.yaml:1:1 paths.l2.ports: fourth",
    ]


def test_complaints_are_an_error_about_files_and_speak_with_their_first() -> None:
    error = ComplaintsError([complaint("a.yaml", 2, 1, "no"), complaint("a.yaml", 1, 5, "yes")])
    assert isinstance(error, FileError)
    assert (error.problem, error.fix, error.where) == (
        "yes",
        "mend it",
        "a.yaml:1:5 paths.l2.ports",
    )


@pytest.mark.parametrize(
    ("word", "choices", "hint"),
    [
        ("relase", ["tier", "driver", "release"], "did you mean release?"),
        ("speed", ["tier", "driver"], "choose one of tier, driver"),
        ("speed", ["attach"], "only attach is known here"),
        ("speed", [], "there is none to choose from"),
        (
            "zz",
            [f"p{number}" for number in range(21)],
            "choose one of p0, p1, p2, p3, p4, p5, p6, p7, p8, p9, p10, p11, p12, p13, p14, p15, "
            "p16, p17, p18, p19 and others",
        ),
    ],
)
def test_a_wrong_word_is_answered_with_the_nearest_or_with_all(
    word: str, choices: list[str], hint: str
) -> None:
    assert nearest(word, choices) == hint
