"""YAML, read strictly."""

from pathlib import Path

import pytest

from qualify.testbed.complaint import ComplaintsError
from qualify.testbed.node import Node, Place
from qualify.testbed.yaml_tree import read_tree

FILE = Path("a.yaml")


def read(text: str) -> Node:
    root, complaints = read_tree(text, file=FILE)
    assert complaints == ()
    return root


def refusal(text: str) -> str:
    with pytest.raises(ComplaintsError) as caught:
        read_tree(text, file=FILE)
    return str(caught.value)


def test_every_value_keeps_its_place_and_that_of_its_key() -> None:
    root = read("a: 1\nports:\n  p1: {attach: d1/e1}\nlist: [x, 'y']\n")
    attach = root.at("ports", "p1", "attach")
    assert attach is not None
    assert (attach.key_place, attach.place) == (Place(3, 8), Place(3, 16))
    second = root.at("list", 1)
    assert second is not None
    assert (second.place, second.key_path, second.written) == (Place(4, 11), ("list", 1), "y")


def test_a_quoted_number_is_text() -> None:
    assert read("a: \"7.10\"\nb: '1'\n").plain() == {"a": "7.10", "b": "1"}


def test_a_key_is_text_whatever_it_looks_like() -> None:
    assert read("on: 1\n12: 2\n").plain() == {"on": 1, "12": 2}


def test_a_merge_key_is_an_ordinary_key() -> None:
    assert read("<<: {a: 1}\n").plain() == {"<<": {"a": 1}}


def test_a_key_that_stands_twice_is_complained_about_and_the_first_counts() -> None:
    root, complaints = read_tree("a: 1\nb:\n  c: 1\n  d: 2\n  c: 3\na: 2\n", file=FILE)
    assert root.plain() == {"a": 1, "b": {"c": 1, "d": 2}}
    assert [str(complaint) for complaint in complaints] == [
        "a.yaml:5:3 b.c: the key 'c' stands here a second time, first on line 3\n"
        "  fix: delete one of the two, or rename it",
        "a.yaml:6:1 a: the key 'a' stands here a second time, first on line 1\n"
        "  fix: delete one of the two, or rename it",
    ]


def test_an_alias_bomb_is_refused_at_its_first_anchor() -> None:
    bomb = "a: &a [x, x, x, x, x, x, x, x, x]\n"
    for name, last in zip("bcdefghij", "abcdefghi", strict=True):
        bomb += f"{name}: &{name} [{', '.join([f'*{last}'] * 9)}]\n"
    assert refusal(bomb) == (
        "a.yaml:1:4 a: anchors and aliases are not allowed here\n  fix: write the value out"
    )


@pytest.mark.parametrize("text", ["a: *b\n", "*a : 1\n", "&a b: 1\n", "a: [&x 1]\n", "&r {a: 1}\n"])
def test_every_anchor_and_alias_is_refused(text: str) -> None:
    assert "anchors and aliases are not allowed here" in refusal(text)


def test_a_tag_is_refused() -> None:
    assert refusal("a: 1\nb: !!str 5\n") == (
        "a.yaml:2:4 b: the tag tag:yaml.org,2002:str is not allowed here\n  fix: delete it"
    )
    assert "the tag ! is not allowed here" in refusal("a: ! 5\n")
    assert "the tag !x is not allowed here" in refusal("a: !x {b: 1}\n")


def test_a_second_document_is_refused() -> None:
    assert refusal("a: 1\n---\nb: 1\n") == (
        "a.yaml:2:1: a second document begins here\n  fix: keep one document in a file: delete ---"
    )


@pytest.mark.parametrize("text", ["- a\n- b\n", "text\n", "---\n", "5\n"])
def test_the_top_must_be_a_mapping(text: str) -> None:
    assert "the top of the file is not a mapping\n  fix: begin with a line such" in refusal(text)


def test_comments_alone_are_no_file() -> None:
    assert "a.yaml:2:1: the file holds nothing but comments" in refusal("# only this\n")


def test_too_deep_nesting_is_refused_without_descending() -> None:
    assert refusal("a: " + "[" * 100_000) == (
        "a.yaml:1:20: this is nested more than 16 deep\n  fix: is a bracket not closed?"
    )


def test_too_many_values_are_refused() -> None:
    assert "the file holds more than 5000 values" in refusal(f"a: [{'1,' * 5_001}]")


def test_a_text_without_end_is_refused() -> None:
    assert refusal(f"a: {'x' * 1_001}\n") == (
        "a.yaml:1:4 a: a text of 1001 characters; at most 1000 are read\n"
        "  fix: write less; is a quote missing?"
    )


def test_a_tab_is_refused_in_words() -> None:
    assert refusal("a:\n\tb: 1\n") == (
        "a.yaml:2:1: a tab stands where YAML wants spaces\n  fix: indent and separate with spaces"
    )


def test_a_second_colon_on_a_line_is_explained() -> None:
    assert refusal("a: b: c\n") == (
        "a.yaml:1:5: not YAML: a second ': ' on one line, or a wrong indentation\n"
        "  fix: quote a text that holds ': ', or align the key with its neighbors"
    )


def test_a_bracket_that_is_not_closed_names_the_line_where_it_begins() -> None:
    problem = refusal("a: 1\nb: {c: 1\nd: 2\n")
    assert "a.yaml:3:2: not YAML: while parsing a flow mapping (begun on line 2)" in problem
    assert "fix: look at the indentation, the quotes and the brackets here and just be" in problem


def test_a_syntax_error_is_shown_together_with_keys_that_stand_twice_before_it() -> None:
    assert refusal("a: 1\na: 2\nb: 'c\n").splitlines()[0:3:2] == [
        "a.yaml:2:1 a: the key 'a' stands here a second time, first on line 1",
        "a.yaml:4:1: not YAML: while scanning a quoted scalar (begun on line 3), "
        "found unexpected end of stream",
    ]


def test_a_list_cannot_be_a_key() -> None:
    assert "a list or a mapping stands where a key belongs" in refusal("? [a, b]\n: 1\n")


def test_a_control_character_is_refused_with_its_place() -> None:
    assert refusal("a: 1\nb: x\x07y\n") == (
        "a.yaml:2:5: the character U+0007 cannot stand in YAML\n"
        "  fix: delete it; editors may hide it"
    )


@pytest.mark.parametrize(
    ("text", "character"),
    [
        (r'a: "\e[2J"', "U+001B"),
        (r'a: "\ud800"', "U+D800"),
        ("a: b\u00a0c", "U+00A0"),
        ("a: b\u202ec", "U+202E"),
        ("a: |\n  two\n  lines\n", "U+000A"),
        ('"k\\0": 1', "U+0000"),
    ],
)
def test_a_character_that_nobody_can_see_is_refused(text: str, character: str) -> None:
    assert f"the text holds the character {character}, which nobody can see" in refusal(text)


@pytest.mark.parametrize(
    "text", ['a: "\\UFFFFFFFF"\n', 'a: "\\U00110000"\n', f"%YAML 1.{'9' * 5_000}\n---\na: 1\n"]
)
def test_what_breaks_the_parser_itself_is_a_complaint_too(text: str) -> None:
    assert "an escape or a directive after this place is beyond what YAML knows" in refusal(text)
