"""Values with their places."""

from pathlib import Path

from qualify.testbed.node import write_key_path
from qualify.testbed.yaml_tree import read_tree

ROOT, _ = read_tree("a: {b: [x, 5]}\nc: text\n", file=Path("a.yaml"))


def test_keys_and_positions_lead_to_a_value() -> None:
    assert ROOT.text("a", "b", 0) == "x"
    assert ROOT.text("c") == "text"


def test_what_is_not_there_reads_as_nothing() -> None:
    assert ROOT.at("a", "z", 0) is None
    assert ROOT.at("a", "b", 2) is None
    assert ROOT.at("c", "b") is None
    assert ROOT.at("a", 0) is None


def test_what_has_another_shape_reads_as_nothing() -> None:
    assert ROOT.text("a") is None
    assert ROOT.text("a", "b", 1) is None
    assert ROOT.entries("c") == {}
    assert ROOT.elements("a") == ()


def test_plain_values_have_no_places() -> None:
    assert ROOT.plain_mapping() == {"a": {"b": ["x", 5]}, "c": "text"}


def test_a_key_path_reads_as_people_write_it() -> None:
    assert write_key_path(("paths", "l2", "ports", 0)) == "paths.l2.ports[0]"
    assert write_key_path(()) == ""
