"""The JSON Schemas that ship with the package."""

import json

import pytest
from jsonschema import Draft202012Validator

from qualify.errors import FileError
from qualify.testbed.schema_file import SCHEMA_NAMES, read_schema


@pytest.mark.parametrize("name", SCHEMA_NAMES)
def test_each_schema_is_a_valid_one_of_draft_2020_12(name: str) -> None:
    schema = json.loads(read_schema(name))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("name", SCHEMA_NAMES)
def test_every_key_is_explained_for_editors(name: str) -> None:
    schema = json.loads(read_schema(name))
    for part in [schema, *schema.get("$defs", {}).values()]:
        assert part["title"]
        assert part["description"]
        for key, value in part.get("properties", {}).items():
            assert "$ref" in value or (value["title"] and value["description"]), key


@pytest.mark.parametrize("name", SCHEMA_NAMES)
def test_every_key_has_an_example_that_fits(name: str) -> None:
    schema = json.loads(read_schema(name))
    for part in [schema, *schema.get("$defs", {}).values()]:
        for value in part.get("properties", {}).values():
            for example in value.get("examples", []):
                if isinstance(example, str | int):
                    standalone = {**value, "$defs": schema.get("$defs", {})}
                    assert Draft202012Validator(standalone).is_valid(example)


def test_an_unknown_schema_names_the_nearest() -> None:
    with pytest.raises(FileError, match="there is no schema 'testbeds'\n  fix: did you mean tes"):
        read_schema("testbeds")
