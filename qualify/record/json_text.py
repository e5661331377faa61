"""JSON text whose decimal numbers are exact: ``48.3`` is written and read as 48.3, never nearly.

The standard library writes numbers with a fraction from binary floats only, so the few lines that
lay out text are our own; strings and parsing are the library's.
"""

import json
from decimal import Decimal
from typing import TypeAlias

Json: TypeAlias = "bool | int | Decimal | str | list[Json] | dict[str, Json] | None"

_WIDTH = 100


def write_json(value: Json) -> str:
    """Write JSON over several lines; what is short enough stays on one."""
    return _write(value, width=_WIDTH, indent="")


def write_json_line(value: Json) -> str:
    """Write JSON on a single line, however long."""
    return _write(value, width=None, indent="")


def read_json(text: str) -> Json:
    """Read JSON; numbers with a fraction become ``Decimal``.

    Raises:
        ValueError: not JSON, a key stands twice, or a number that JSON does not have (NaN).
    """
    value: Json = json.loads(
        text,
        parse_float=Decimal,
        parse_constant=_refuse_constant,
        object_pairs_hook=_refuse_repeated_keys,
    )
    return value


def _write(value: Json, *, width: int | None, indent: str) -> str:
    deeper = None if width is None else width - 2
    if isinstance(value, dict):
        parts = [
            f"{json.dumps(key)}: {_write(part, width=deeper, indent=indent + '  ')}"
            for key, part in value.items()
        ]
        return _bracket("{}", parts, width=width, indent=indent)
    if isinstance(value, list):
        parts = [_write(part, width=deeper, indent=indent + "  ") for part in value]
        return _bracket("[]", parts, width=width, indent=indent)
    if isinstance(value, Decimal):
        return format(value, "f")
    return json.dumps(value)


def _bracket(brackets: str, parts: list[str], *, width: int | None, indent: str) -> str:
    line = brackets[0] + ", ".join(parts) + brackets[1]
    if width is None or (len(line) <= width and "\n" not in line):
        return line
    inner = f",\n{indent}  ".join(parts)
    return f"{brackets[0]}\n{indent}  {inner}\n{indent}{brackets[1]}"


def _refuse_constant(name: str) -> Json:
    raise ValueError(f"{name} is not a JSON number")


def _refuse_repeated_keys(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    found: dict[str, Json] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"key '{key}' stands twice in one object")
        found[key] = value
    return found
