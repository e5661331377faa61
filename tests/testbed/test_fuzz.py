"""Whatever stands in a file, it is read or complained about: no other exception escapes."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qualify.testbed.case import Case
from qualify.testbed.case_file import read_case
from qualify.testbed.complaint import ComplaintsError
from qualify.testbed.image import Image
from qualify.testbed.image_file import read_images
from qualify.testbed.testbed import Testbed
from qualify.testbed.testbed_file import read_testbed

# The file is written anew for each example, so that one folder serves them all.
FUZZ = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

PIECES = st.sampled_from(
    ["testbed", "kind", "tester", "ports", "duts", "links", "paths", "l2", "p1", "d1/e1", "hosts",
     ": ", ":", "\n", "\n  ", "\n- ", "- ", ", ", "{", "}", "[", "]", "&a ", "*a", "!!str ", "!",
     "|", ">", "'", '"', "\\", "\\U", "\\x00", "#", " #", "---", "...", "%YAML 1.1", "%TAG ! x",
     "? ", "<<", "\t", "\r", "\u0085", "\u2028", "\ufeff", "010", "7.10", "1e9", "~", "true", "on",
     "\0", "@", "`"]
)  # fmt: skip
SCALARS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["p1", "p2", "p3", "d1", "d1/e1", "d2/e1", "l2", "igp", "physical", "7.10"])
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


@st.composite
def mutations(draw: st.DrawFn, good: str) -> str:
    """A good file in which some values, anywhere, were replaced, added or taken away."""
    data = yaml.safe_load(good)
    for _ in range(draw(st.integers(1, 4))):
        place: Any = data
        while True:
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            if not keys:
                break
            key = draw(st.sampled_from(keys))
            deeper = place[key]
            if isinstance(deeper, dict | list) and draw(st.booleans()):
                place = deeper
                continue
            if draw(st.booleans()):
                place[key] = draw(VALUES)
            elif isinstance(place, dict):
                place[draw(st.text(max_size=8))] = place.pop(key)
            else:
                del place[key]
            break
    text: str = yaml.safe_dump(data, allow_unicode=True)
    return text


def answer(read: Callable[[], object]) -> object:
    """What was read, or the complaints as text."""
    try:
        return read()
    except ComplaintsError as error:
        return str(error)


@FUZZ
@given(content=st.binary(max_size=200))
def test_any_octets_are_a_testbed_or_a_complaint(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.yaml").write_bytes(content)
    assert "fix: " in str(answer(lambda: read_testbed(tmp_path / "a.yaml")))


@FUZZ
@given(text=st.text(max_size=200) | st.lists(PIECES, max_size=30).map("".join))
def test_any_text_is_a_testbed_or_a_complaint(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.yaml").write_bytes(text.encode("utf-8", "surrogatepass"))
    assert "fix: " in str(answer(lambda: read_testbed(tmp_path / "a.yaml")))


@FUZZ
@given(data=st.data())
def test_a_testbed_with_any_mistakes_is_a_testbed_or_complaints_with_places(
    tmp_path: Path, testbed_text: str, data: st.DataObject
) -> None:
    (tmp_path / "a.yaml").write_text(data.draw(mutations(testbed_text)), encoding="utf-8")
    said = answer(lambda: read_testbed(tmp_path / "a.yaml"))
    if isinstance(said, str):
        said.encode("utf-8")
        assert all(line.startswith(f"{tmp_path}/a.yaml:") for line in said.splitlines()[::2])


@FUZZ
@given(data=st.data())
def test_a_case_with_any_mistakes_is_a_case_or_complaints(
    tmp_path: Path, testbed: Testbed, case_text: str, data: st.DataObject
) -> None:
    (tmp_path / "a.yaml").write_text(data.draw(mutations(case_text)), encoding="utf-8")
    said = answer(lambda: read_case(tmp_path / "a.yaml", testbed))
    assert isinstance(said, Case) or "fix: " in str(said)


@FUZZ
@given(data=st.data())
def test_a_manifest_with_any_mistakes_is_an_image_or_complaints(
    tmp_path: Path, image_text: str, data: st.DataObject
) -> None:
    (tmp_path / "stock").mkdir(exist_ok=True)
    (tmp_path / "stock" / "tern6.bin").write_bytes(b"abc")
    (tmp_path / "stock" / "a.yaml").write_text(data.draw(mutations(image_text)), encoding="utf-8")
    said = answer(lambda: read_images(tmp_path / "stock")[0])
    assert isinstance(said, Image) or "fix: " in str(said)


@pytest.mark.parametrize("text", ["a: [" * 5_000, "- " * 50_000, "? " * 50_000, "{" * 50_000])
def test_deep_brackets_do_not_exhaust_the_stack(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.yaml").write_text(text)
    assert "fix: " in str(answer(lambda: read_testbed(tmp_path / "a.yaml")))
