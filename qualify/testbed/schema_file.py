"""The JSON Schemas that ship with the package: one each for testbed, case and image files."""

import json
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any

from jsonschema import Draft202012Validator

from qualify.errors import FileError
from qualify.testbed.complaint import nearest

SCHEMA_NAMES = ("testbed", "case", "image")


def read_schema(name: str) -> str:
    """Return the JSON Schema for a kind of file, as text.

    Raises:
        FileError: there is no schema of that name.
    """
    if name not in SCHEMA_NAMES:
        raise FileError(f"there is no schema '{name}'", fix=nearest(name, SCHEMA_NAMES))
    return (files("qualify.testbed") / "schema" / f"{name}.json").read_text(encoding="utf-8")


@cache
def load_validator(name: str) -> Draft202012Validator:
    """Return the validator for a kind of file.

    Decimals are kept exact: a bound of 0.000001 must not become the nearest binary fraction.

    Raises:
        FileError: there is no schema of that name.
    """
    schema = json.loads(read_schema(name), parse_float=Decimal)
    definitions = schema.pop("$defs", {})
    return Draft202012Validator(_without_references(schema, definitions))


def _without_references(schema: Any, definitions: Mapping[str, Any]) -> Any:  # noqa: ANN401 (JSON)
    """Put every definition where it is referred to, so that each error knows its whole schema."""
    if isinstance(schema, list):
        return [_without_references(part, definitions) for part in schema]
    if not isinstance(schema, dict):
        return schema
    if "$ref" in schema:
        return _without_references(definitions[schema["$ref"].rpartition("/")[2]], definitions)
    return {key: _without_references(part, definitions) for key, part in schema.items()}
