"""A value in a YAML file together with the place where it was written."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from qualify.testbed.complaint import Complaint

KeyPath = tuple[str | int, ...]
Scalar = str | int | Decimal | bool | None


@dataclass(frozen=True, slots=True)
class Unquoted:
    """Text without quotes that one YAML reader takes for a number and the next one does not.

    ``010`` is 8, 10 or text; ``12:34:56:01:02:03`` is 9783939723 or text. It is neither here,
    until its writer says which.
    """

    text: str


@dataclass(frozen=True, slots=True)
class Place:
    """A line and a column, both counted from 1."""

    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Node:
    """One value: what it is, how it was written, and where.

    The getters below never fail: a value that is absent or of another shape reads as nothing, so
    that checks of meaning can run over a file whose shape is wrong in some other place.

    Attributes:
        value: a mapping or a sequence of nodes, or a scalar.
        written: a scalar as it stands in the file, without its quotes; else empty.
        key_path: keys and list positions that lead here from the top of the file.
        place: where the value begins.
        key_place: where the key before it begins; ``place`` again when there is no key.
    """

    file: Path
    value: "Value"
    written: str
    key_path: KeyPath
    place: Place
    key_place: Place

    def at(self, *keys: str | int) -> "Node | None":
        """Return the node that these keys and list positions lead to."""
        node: Node | None = self
        for key in keys:
            node = node.child(key) if node else None
        return node

    def child(self, key: str | int) -> "Node | None":
        """Return the value under a key or at a position in a list."""
        if isinstance(self.value, Mapping) and isinstance(key, str):
            return self.value.get(key)
        if isinstance(self.value, tuple) and isinstance(key, int) and key < len(self.value):
            return self.value[key]
        return None

    def entries(self, *keys: str | int) -> "Mapping[str, Node]":
        """Return the mapping at these keys, by key."""
        node = self.at(*keys)
        return node.value if node and isinstance(node.value, Mapping) else {}

    def elements(self, *keys: str | int) -> "tuple[Node, ...]":
        """Return the members of the list at these keys."""
        node = self.at(*keys)
        return node.value if node and isinstance(node.value, tuple) else ()

    def text(self, *keys: str | int) -> str | None:
        """Return the text at these keys."""
        node = self.at(*keys)
        return node.value if node and isinstance(node.value, str) else None

    def plain(self) -> object:
        """Return the value as plain dicts, lists and scalars, without places."""
        if isinstance(self.value, Mapping):
            return {key: node.plain() for key, node in self.value.items()}
        if isinstance(self.value, tuple):
            return [node.plain() for node in self.value]
        return self.value

    def plain_mapping(self) -> Mapping[str, Any]:
        """Return a mapping whose shape the schema has approved, without places."""
        return {key: node.plain() for key, node in self.entries().items()}

    def complain(self, problem: str, *, fix: str) -> Complaint:
        """Make a complaint about the value."""
        return _complaint(self.file, self.place, self.key_path, problem, fix)

    def complain_of_key(self, problem: str, *, fix: str) -> Complaint:
        """Make a complaint about the key before the value."""
        return _complaint(self.file, self.key_place, self.key_path, problem, fix)


Value = Mapping[str, Node] | tuple[Node, ...] | Unquoted | Scalar


def write_key_path(keys: Iterable[str | int]) -> str:
    """Write keys and positions as people do: ``paths.l2.ports[0]``."""
    written = ""
    for key in keys:
        written += f"[{key}]" if isinstance(key, int) else f".{key}"
    return written.removeprefix(".")


def _complaint(file: Path, place: Place, keys: KeyPath, problem: str, fix: str) -> Complaint:
    return Complaint(file, place.line, place.column, write_key_path(keys), problem, fix)
