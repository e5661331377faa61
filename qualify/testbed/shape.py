"""From a node and a JSON Schema to every complaint about the shape of the file, in plain words.

Titles, descriptions and examples of the schemas are written to complete these sentences: "'x'
cannot be {title}", "write for example {key}: {example} ({description})".
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Any

from jsonschema import ValidationError

from qualify.testbed.complaint import Complaint, nearest
from qualify.testbed.node import Node, Unquoted
from qualify.testbed.schema_file import load_validator
from qualify.testbed.yaml_scalar import read_plain

# Of several complaints about one value only the first in this order is made.
_OF_A_VALUE = (
    "not", "type", "enum", "const", "pattern", "minLength", "maxLength", "minItems", "maxItems",
    "minProperties", "minimum", "exclusiveMinimum", "maximum", "multipleOf",
)  # fmt: skip


def find_misshapen(root: Node, *, schema: str) -> list[Complaint]:
    """Compare a file with the schema of that name and complain about every difference."""
    complaints: list[Complaint] = []
    said: set[tuple[object, ...]] = set()
    errors = load_validator(schema).iter_errors(root.plain())
    for error in sorted(errors, key=_rank):
        subject = _subject(error)
        if subject in said:
            continue
        said.add(subject)
        node = root.at(*error.absolute_path)
        if node is not None:
            complaints.extend(_PHRASES.get(str(error.validator), _value)(node, error))
    return complaints


def _rank(error: ValidationError) -> int:
    return _OF_A_VALUE.index(error.validator) if error.validator in _OF_A_VALUE else 0


def _subject(error: ValidationError) -> tuple[object, ...]:
    """What the complaint is about; about one subject only one is made.

    A missing key is reported once for each key by jsonschema, but written for all of them here.
    """
    path = tuple(error.absolute_path)
    if "propertyNames" in error.absolute_schema_path:
        return ("key", *path, error.instance)
    if error.validator in _OF_A_VALUE:
        return ("value", *path)
    return (error.validator, *path, *error.absolute_schema_path)


def _value(node: Node, error: ValidationError) -> Iterator[Complaint]:
    """A value out of bounds or of a wrong pattern; or a key that is not a usable name."""
    schema = _schema(error)
    if "propertyNames" in error.absolute_schema_path:
        key = str(error.instance)
        child = node.child(key) or node
        problem = f"'{key}' cannot be {schema['title']}"
        yield child.complain_of_key(problem, fix=f"choose another name: {_description(schema)}")
        return
    yield node.complain(f"{_show(node)} cannot be {schema['title']}", fix=_example(node, schema))


def _not(node: Node, error: ValidationError) -> Iterator[Complaint]:
    schema = _schema(error)
    yield node.complain_of_key(schema["title"], fix=schema["description"])


def _enum(node: Node, error: ValidationError) -> Iterator[Complaint]:
    choices = [str(choice) for choice in _schema(error)["enum"]]
    yield node.complain(
        f"{_show(node)} is not one of {', '.join(choices)}", fix=nearest(node.written, choices)
    )


def _type(node: Node, error: ValidationError) -> Iterator[Complaint]:
    schema = _schema(error)
    wanted = schema["type"]
    if node.value is None:
        yield node.complain_of_key("a value is missing here", fix=_example(node, schema))
    elif wanted == "string" and isinstance(node.value, int | Decimal | Unquoted):
        # bool is an int, and is read as one of two words rather than as a number.
        taken_for = "true or false" if isinstance(node.value, bool) else "a number"
        yield node.complain(
            f"{node.written} is read as {taken_for}", fix=f'quote it: "{node.written}"'
        )
    elif wanted in ("integer", "number") and isinstance(node.value, Unquoted):
        yield node.complain(
            f"{node.written} is not a plain decimal number",
            fix=f"{_example(node, schema)}, without leading zeros, underscores or exponents",
        )
    elif wanted in ("integer", "number") and _is_quoted_number(node):
        yield node.complain(
            f'"{node.written}" is text, for it stands in quotes', fix="delete the quotes"
        )
    else:
        yield node.complain(
            f"{_show(node)} cannot be {schema['title']}", fix=_example(node, schema)
        )


def _is_quoted_number(node: Node) -> bool:
    return isinstance(node.value, str) and type(read_plain(node.written)) in (int, Decimal)


def _required(node: Node, error: ValidationError) -> Iterator[Complaint]:
    schema = _schema(error)
    for key in schema["required"]:
        if key not in node.entries():
            example = _flow(schema["properties"][key]["examples"][0])
            yield node.complain_of_key(f"the key '{key}' is missing", fix=f"add {key}: {example}")


def _additional(node: Node, error: ValidationError) -> Iterator[Complaint]:
    known = list(_schema(error)["properties"])
    for key, child in node.entries().items():
        if key not in known:
            yield child.complain_of_key(
                f"the key '{key}' is not known here", fix=nearest(key, known)
            )


def _unique(node: Node, _: ValidationError) -> Iterator[Complaint]:
    seen: list[object] = []
    for element in node.elements():
        if element.value in seen:
            yield element.complain(f"{_show(element)} stands here twice", fix="delete one of them")
        seen.append(element.value)


_PHRASES: Mapping[str, Callable[[Node, ValidationError], Iterable[Complaint]]] = {
    "not": _not,
    "enum": _enum,
    "const": _value,
    "type": _type,
    "required": _required,
    "additionalProperties": _additional,
    "uniqueItems": _unique,
}


def _schema(error: ValidationError) -> Mapping[str, Any]:
    return error.schema if isinstance(error.schema, Mapping) else {}


def _example(node: Node, schema: Mapping[str, Any]) -> str:
    example = _flow(schema["examples"][0])
    key = node.key_path[-1] if node.key_path else 0
    line = f"{key}: {example}" if isinstance(key, str) else example
    return f"write for example {line} ({_description(schema)})"


def _description(schema: Mapping[str, Any]) -> str:
    text: str = schema["description"].removesuffix(".")
    return text[:1].lower() + text[1:] if not text[1:2].isupper() else text


def _show(node: Node) -> str:
    if isinstance(node.value, Mapping):
        return "a mapping" if node.value else "an empty mapping"
    if isinstance(node.value, tuple):
        return f"a list of {len(node.value)}"
    return f"'{node.written}'"


def _flow(example: object) -> str:
    """Write an example as one line of YAML."""
    if isinstance(example, Mapping):
        return "{" + ", ".join(f"{key}: {_flow(value)}" for key, value in example.items()) + "}"
    if isinstance(example, list):
        return "[" + ", ".join(_flow(value) for value in example) + "]"
    return str(example).lower() if isinstance(example, bool) else str(example)
