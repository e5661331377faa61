"""From YAML text to nodes that keep their places; strict where YAML is lenient.

The stock constructor of PyYAML keeps the last of two equal keys, reads ``010`` as 8, a MAC address
of digits as one number, and ``off`` as a boolean. So only its events are used here: they carry the
text as written and its place. Since they come one by one, an alias is refused before anything is
expanded.
"""

import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import NoReturn

import yaml
from yaml.reader import ReaderError

from qualify.testbed.complaint import Complaint, ComplaintsError
from qualify.testbed.node import KeyPath, Node, Place, Scalar, Unquoted, write_key_path

DEEPEST = 16
MOST_VALUES = 20_000
MOST_CHARACTERS = 1_000
MOST_DIGITS = 18

_INTEGER = re.compile(r"-?(0|[1-9][0-9]*)")
_DECIMAL = re.compile(r"-?(0|[1-9][0-9]*)\.[0-9]+")
# Everything that YAML 1.1 or 1.2 reads as a number: octal, hexadecimal, binary, to the base 60,
# with underscores, with an exponent, infinite, or none at all.
_NUMBER_TO_SOMEBODY = re.compile(
    r"[-+]?(0[xob][0-9a-f_]+|[0-9][0-9_]*(:[0-5]?[0-9])*(\.[0-9_]*)?(e[-+]?[0-9]+)?"
    r"|\.[0-9][0-9_]*(e[-+]?[0-9]+)?|\.inf|\.nan)",
    re.IGNORECASE,
)
_WORDS: dict[str, bool | None] = {"": None, "~": None, "null": None, "true": True, "false": False}


def read_tree(text: str, *, file: Path) -> tuple[Node, tuple[Complaint, ...]]:
    """Read one YAML document whose top is a mapping.

    Returns:
        The top node, and a complaint about every key that stands twice (the first one counts).

    Raises:
        ComplaintsError: not YAML, or YAML that is refused here: anchors, aliases, tags, several
            documents, another top than a mapping, too deep, too many values.
    """
    composer = _Composer(file, text)
    try:
        return composer.document(), tuple(composer.complaints)
    except yaml.MarkedYAMLError as error:
        syntax = _explain(file, error)
    except ReaderError as error:
        place = _place_in(text, error.position)
        syntax = _complaint(
            file, place, f"the character U+{ord(text[error.position]):04X} cannot stand in YAML",
            "delete it; it may be invisible in an editor",
        )  # fmt: skip
    except ValueError:
        # PyYAML lets chr() and int() fail on "\UFFFFFFFF" and on a %YAML directive of 5000 digits.
        syntax = _complaint(
            file, composer.place, "an escape or a directive here is beyond what YAML knows",
            "write the text itself instead",
        )  # fmt: skip
    raise ComplaintsError([*composer.complaints, syntax])


class _Composer:
    """Turns the events of one document into nodes."""

    def __init__(self, file: Path, text: str) -> None:
        self.complaints: list[Complaint] = []
        self.place = Place(1, 1)
        self._file = file
        self._values = 0
        self._events: Iterator[yaml.Event] = yaml.parse(text, Loader=yaml.SafeLoader)

    def document(self) -> Node:
        """Read the whole stream."""
        self._next()
        event = self._next()
        if isinstance(event, yaml.StreamEndEvent):
            self._refuse("the file holds nothing but comments", "write the keys of the file")
        root = self._node(self._next(), keys=(), key_place=None)
        self._next()
        if not isinstance(self._next(), yaml.StreamEndEvent):
            self._refuse("a second document begins here", "keep one document in a file: delete ---")
        if not isinstance(root.value, dict):
            self.place = root.place
            self._refuse(
                "the top of the file is not a mapping", "begin with a line such as key: value"
            )
        return root

    def _next(self) -> yaml.Event:
        event = next(self._events)
        self.place = Place(event.start_mark.line + 1, event.start_mark.column + 1)
        return event

    def _node(self, event: yaml.Event, *, keys: KeyPath, key_place: Place | None) -> Node:
        self._refuse_indirection(event, keys)
        self._refuse_excess(keys)
        place = self.place
        written = ""
        value: dict[str, Node] | tuple[Node, ...] | Unquoted | Scalar
        if isinstance(event, yaml.MappingStartEvent):
            value = self._mapping(keys)
        elif isinstance(event, yaml.SequenceStartEvent):
            value = self._sequence(keys)
        else:
            written = self._written(event, keys)
            value = written if event.style else _read_plain(written)
        return Node(self._file, value, written, keys, place, key_place or place)

    def _mapping(self, keys: KeyPath) -> dict[str, Node]:
        nodes: dict[str, Node] = {}
        while not isinstance(event := self._next(), yaml.MappingEndEvent):
            self._refuse_indirection(event, keys)
            if not isinstance(event, yaml.ScalarEvent):
                self._refuse(
                    "a list or a mapping stands where a key belongs", "write key: value", keys
                )
            key = self._written(event, keys)
            place = self.place
            node = self._node(self._next(), keys=(*keys, key), key_place=place)
            if key in nodes:
                line = nodes[key].key_place.line
                self.complaints.append(
                    node.complain_of_key(
                        f"the key '{key}' stands here a second time, first on line {line}",
                        fix="delete one of the two, or rename it",
                    )
                )
            else:
                nodes[key] = node
        return nodes

    def _sequence(self, keys: KeyPath) -> tuple[Node, ...]:
        nodes: list[Node] = []
        while not isinstance(event := self._next(), yaml.SequenceEndEvent):
            nodes.append(self._node(event, keys=(*keys, len(nodes)), key_place=None))
        return tuple(nodes)

    def _written(self, event: yaml.ScalarEvent, keys: KeyPath) -> str:
        text: str = event.value
        if len(text) > MOST_CHARACTERS:
            self._refuse(
                f"a text of {len(text)} characters; at most {MOST_CHARACTERS} are read",
                "write less; is a quote missing?", keys,
            )  # fmt: skip
        hidden = next((character for character in text if not character.isprintable()), None)
        if hidden is not None:
            self._refuse(
                f"the text holds the character U+{ord(hidden):04X}, which nobody can see",
                "write plain text on one line", keys,
            )  # fmt: skip
        return text

    def _refuse_indirection(self, event: yaml.Event, keys: KeyPath) -> None:
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            self._refuse("anchors and aliases are not allowed here", "write the value out", keys)
        if getattr(event, "tag", None) is not None:
            self._refuse(f"the tag {event.tag} is not allowed here", "delete it", keys)

    def _refuse_excess(self, keys: KeyPath) -> None:
        self._values += 1
        if len(keys) > DEEPEST:
            self._refuse(f"this is nested more than {DEEPEST} deep", "close brackets earlier")
        if self._values > MOST_VALUES:
            self._refuse(f"the file holds more than {MOST_VALUES} values", "split the testbed")

    def _refuse(self, problem: str, fix: str, keys: KeyPath = ()) -> NoReturn:
        complaint = _complaint(self._file, self.place, problem, fix, keys)
        raise ComplaintsError([*self.complaints, complaint])


def _read_plain(text: str) -> Scalar | Unquoted:
    """Read a scalar without quotes: only what every reader of YAML agrees on is a number."""
    if text in _WORDS:
        return _WORDS[text]
    if len(text) <= MOST_DIGITS:
        if _INTEGER.fullmatch(text):
            return int(text)
        if _DECIMAL.fullmatch(text):
            return Decimal(text)
    return Unquoted(text) if _NUMBER_TO_SOMEBODY.fullmatch(text) else text


def _explain(file: Path, error: yaml.MarkedYAMLError) -> Complaint:
    mark = error.problem_mark or error.context_mark
    place = Place(mark.line + 1, mark.column + 1) if mark else Place(1, 1)
    problem = error.problem or "this is not YAML"
    fix = "look at the indentation, the quotes and the brackets here and on the line before"
    if r"'\t'" in problem:
        return _complaint(file, place, "a tab stands where YAML wants spaces", "use spaces")
    if problem.startswith("mapping values are not allowed"):
        problem = "a second ': ' on this line, or a wrong indentation"
        fix = "quote the text that holds ': ', or align the key with its neighbors"
    elif problem.startswith("expected") and error.context and error.context_mark:
        problem = f"{error.context} (begun on line {error.context_mark.line + 1}), {problem}"
    return _complaint(file, place, f"not YAML: {problem}", fix)


def _place_in(text: str, position: int) -> Place:
    before = text[:position]
    return Place(before.count("\n") + 1, position - before.rfind("\n"))


def _complaint(
    file: Path, place: Place, problem: str, fix: str, keys: KeyPath = ()
) -> Complaint:  # fmt: skip
    return Complaint(file, place.line, place.column, write_key_path(keys), problem, fix)
