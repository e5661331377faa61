"""From the record's dataclasses to JSON values and back, led by the types of their fields."""

import json
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields, is_dataclass
from datetime import UTC, datetime
from decimal import Decimal
from enum import StrEnum
from functools import cache
from math import inf, isfinite
from types import NoneType
from typing import TYPE_CHECKING, Annotated, TypeVar, get_args, get_origin, get_type_hints

from qualify.errors import RecordError
from qualify.record.json_text import Json
from qualify.record.place import Place
from qualify.record.written import FileUnit

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

_T = TypeVar("_T", bound="DataclassInstance")


@dataclass(frozen=True, slots=True)
class _Member:
    """One field of a dataclass and how it stands in the file."""

    name: str
    key: str
    kind: object
    unit: FileUnit | None
    nullable: bool
    required: bool


def encode(value: "DataclassInstance") -> dict[str, Json]:
    """Turn a record, or a part of one, into JSON values; keys in the order of the fields."""
    found: dict[str, Json] = {}
    for member in _members(type(value)):
        part = getattr(value, member.name)
        if member.unit is not None and part is not None:
            found[member.key] = member.unit.write(part)
        else:
            found[member.key] = _encode(part)
    return found


def decode(kind: type[_T], value: Json, place: Place) -> _T:
    """Turn JSON values into a record, or a part of one; keys that it does not know are passed over.

    Raises:
        RecordError: an essential key is missing, or a value is not what its key promises.
    """
    if not isinstance(value, dict):
        raise _unlike(value, "an object", place)
    found: dict[str, object] = {}
    for member in _members(kind):
        if member.key in value:
            found[member.name] = _decode_member(member, value[member.key], place.key(member.key))
        elif member.required:
            raise place.complain(f"key '{member.key}' is missing")
    return kind(**found)


@cache
def _members(kind: "type[DataclassInstance]") -> tuple[_Member, ...]:
    hints = get_type_hints(kind, include_extras=True)
    return tuple(
        _describe(
            field.name,
            hints[field.name],
            required=field.default is MISSING and field.default_factory is MISSING,
        )
        for field in fields(kind)
    )


def _describe(name: str, hint: object, *, required: bool) -> _Member:
    choices = get_args(hint)
    nullable = NoneType in choices
    if nullable:
        hint = next(choice for choice in choices if choice is not NoneType)
    unit: FileUnit | None = None
    if get_origin(hint) is Annotated:
        unit = get_args(hint)[1]
    key = unit.key(name) if unit else name
    return _Member(name, key, hint, unit, nullable, required)


def _encode(value: object) -> Json:
    if is_dataclass(value) and not isinstance(value, type):
        return encode(value)
    if isinstance(value, tuple):
        return [_encode(part) for part in value]
    if isinstance(value, Mapping):
        return {str(key): _encode(part) for key, part in value.items()}
    return _encode_scalar(value)


def _encode_scalar(value: object) -> Json:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, float):
        return Decimal(repr(value))
    if isinstance(value, StrEnum):
        return value.value
    if value is None or isinstance(value, (bool, int, str)):
        return value
    raise TypeError(f"a record has no place for {type(value).__name__}")


def _decode_member(member: _Member, value: Json, place: Place) -> object:
    if value is None and member.nullable:
        return None
    if member.unit is not None:
        if isinstance(value, bool) or not isinstance(value, (int, Decimal)):
            raise _unlike(value, "a number", place)
        return member.unit.read(value, place)
    return _decode(member.kind, value, place)


def _decode(kind: object, value: Json, place: Place) -> object:
    if get_origin(kind) is tuple:
        if not isinstance(value, list):
            raise _unlike(value, "a list", place)
        item = get_args(kind)[0]
        return tuple(_decode(item, part, place.item(index)) for index, part in enumerate(value))
    if get_origin(kind) is Mapping:
        return _decode_texts(value, place)
    if isinstance(kind, type) and is_dataclass(kind):
        return decode(kind, value, place)
    if isinstance(kind, type) and issubclass(kind, StrEnum):
        return _decode_word(kind, value, place)
    if kind is datetime:
        return _decode_time(value, place)
    return _decode_scalar(kind, value, place)


def _decode_texts(value: Json, place: Place) -> dict[str, str]:
    if not isinstance(value, dict):
        raise _unlike(value, "an object", place)
    found: dict[str, str] = {}
    for key, part in value.items():
        if not isinstance(part, str):
            raise _unlike(part, "a text", place.key(key))
        found[key] = part
    return found


def _decode_word(kind: type[StrEnum], value: Json, place: Place) -> StrEnum:
    words = {word.value: word for word in kind}
    if isinstance(value, str) and value in words:
        return words[value]
    raise _unlike(value, f"one of: {', '.join(words)}", place)


def _decode_time(value: Json, place: Place) -> datetime:
    expected = "a time with its offset from UTC"
    if not isinstance(value, str):
        raise _unlike(value, expected, place)
    try:
        moment = datetime.fromisoformat(value)
        if moment.tzinfo is None:
            raise _unlike(value, expected, place)
        return moment.astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise _unlike(value, expected, place) from error


def _decode_scalar(kind: object, value: Json, place: Place) -> object:
    truth = isinstance(value, bool)
    if kind is bool and truth:
        return value
    if kind is str and isinstance(value, str):
        return value
    if kind is int and isinstance(value, int) and not truth:
        return value
    if kind is float and isinstance(value, (int, Decimal)) and not truth:
        return _decode_float(value, place)
    names: dict[object, str] = {bool: "true or false", str: "a text", int: "a whole number"}
    raise _unlike(value, names.get(kind, "a number"), place)


def _decode_float(value: int | Decimal, place: Place) -> float:
    try:
        number = float(value)
    except OverflowError:
        number = inf
    if not isfinite(number):
        raise place.complain("this number is too large")
    return number


def _unlike(value: Json, expected: str, place: Place) -> RecordError:
    return place.complain(f"expected {expected}, found {_shown(value)}")


def _shown(value: Json) -> str:
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    return json.dumps(value) if value is None or isinstance(value, (bool, str)) else str(value)
