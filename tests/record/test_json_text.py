"""JSON text: exact numbers, nothing that JSON does not have."""

import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.record.json_text import Json, read_json, write_json, write_json_line

scalars = (
    st.none()
    | st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.text()
    | st.decimals(
        allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9
    )
)
values = st.recursive(
    scalars, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20
)


@given(values)
def test_what_is_written_comes_back(value: Json) -> None:
    assert read_json(write_json(value)) == value
    assert read_json(write_json_line(value)) == value


@given(values)
def test_any_other_reader_understands_it_too(value: Json) -> None:
    assert json.loads(write_json(value), parse_float=Decimal) == value


@given(values)
def test_a_line_is_a_line(value: Json) -> None:
    assert "\n" not in write_json_line(value)


def test_a_decimal_has_no_binary_noise() -> None:
    assert write_json({"outage_ms": Decimal("48.3")}) == '{"outage_ms": 48.3}'
    assert write_json(Decimal("0.000001")) == "0.000001"


def test_what_does_not_fit_on_a_line_is_indented() -> None:
    wide = "x" * 60
    assert write_json({"a": [1, 2], "b": [wide, wide]}) == (
        '{\n  "a": [1, 2],\n  "b": [\n    "' + wide + '",\n    "' + wide + '"\n  ]\n}'
    )


def test_a_key_that_stands_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="key 'lost' stands twice in one object"):
        read_json('{"lost": 483, "lost": 0}')


@pytest.mark.parametrize("constant", ["NaN", "Infinity", "-Infinity"])
def test_numbers_that_json_does_not_have_are_refused(constant: str) -> None:
    with pytest.raises(ValueError, match=f"{constant} is not a JSON number"):
        read_json(f'{{"outage_ms": {constant}}}')
