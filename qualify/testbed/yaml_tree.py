"""From YAML text to nodes that keep their places; strict where YAML is lenient.

The stock constructor of PyYAML keeps the last of two equal keys, reads ``010`` as 8, a MAC address
of digits as one number, and ``off`` as a boolean. So only its events are used here: they carry the
text as written and its place. Since they come one by one, an alias is refused before anything is
expanded.
"""

from collections.abc import Iterator
from pathlib import Path

import yaml
from yaml.reader import ReaderError

from qualify.testbed.complaint import Complaint, ComplaintsError
from qualify.testbed.node import KeyPath, Node, Place, Value, write_key_path
from qualify.testbed.yaml_scalar import read_plain

DEEPEST = 16
MOST_VALUES = 5_000
MOST_CHARACTERS = 1_000


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
        place, problem, fix = _explain(error, otherwise=composer.place)
        raise composer.refusal(problem, fix, place=place) from error
    except ReaderError as error:
        place = _place_in(text, error.position)
        problem = f"the character U+{ord(text[error.position]):04X} cannot stand in YAML"
        raise composer.refusal(problem, "delete it; editors may hide it", place=place) from error
    except (ValueError, OverflowError) as error:
        # PyYAML lets chr() and int() fail: "\U00110000", "\UFFFFFFFF", %YAML 1. with 5000 digits.
        problem = "an escape or a directive after this place is beyond what YAML knows"
        raise composer.refusal(problem, "write the text itself") from error


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
        if isinstance(self._next(), yaml.StreamEndEvent):
            raise self.refusal("the file holds nothing but comments", "write the keys of the file")
        root = self._node(self._next(), keys=(), key_place=None)
        self._next()
        if not isinstance(self._next(), yaml.StreamEndEvent):
            raise self.refusal(
                "a second document begins here", "keep one document in a file: delete ---"
            )
        if not isinstance(root.value, dict):
            fix = "begin with a line such as key: value"
            raise self.refusal("the top of the file is not a mapping", fix, place=root.place)
        return root

    def refusal(
        self, problem: str, fix: str, *, keys: KeyPath = (), place: Place | None = None
    ) -> ComplaintsError:
        """Make an error of everything said so far and of this, which ends the reading."""
        at = place or self.place
        last = Complaint(self._file, at.line, at.column, write_key_path(keys), problem, fix)
        return ComplaintsError([*self.complaints, last])

    def _next(self) -> yaml.Event:
        event = next(self._events)
        if event.start_mark:
            self.place = Place(event.start_mark.line + 1, event.start_mark.column + 1)
        return event

    def _node(self, event: yaml.Event, *, keys: KeyPath, key_place: Place | None) -> Node:
        self._refuse_indirection(event, keys)
        self._refuse_excess(keys)
        place = self.place
        value: Value = None
        written = ""
        if isinstance(event, yaml.MappingStartEvent):
            value = self._mapping(keys)
        elif isinstance(event, yaml.SequenceStartEvent):
            value = self._sequence(keys)
        elif isinstance(event, yaml.ScalarEvent):
            written = self._written(event, keys)
            value = written if event.style else read_plain(written)
        return Node(self._file, value, written, keys, place, key_place or place)

    def _mapping(self, keys: KeyPath) -> dict[str, Node]:
        nodes: dict[str, Node] = {}
        while not isinstance(event := self._next(), yaml.MappingEndEvent):
            self._refuse_indirection(event, keys)
            if not isinstance(event, yaml.ScalarEvent):
                raise self.refusal(
                    "a list or a mapping stands where a key belongs", "write key: value", keys=keys
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
            nodes.setdefault(key, node)
        return nodes

    def _sequence(self, keys: KeyPath) -> tuple[Node, ...]:
        nodes: list[Node] = []
        while not isinstance(event := self._next(), yaml.SequenceEndEvent):
            nodes.append(self._node(event, keys=(*keys, len(nodes)), key_place=None))
        return tuple(nodes)

    def _written(self, event: yaml.ScalarEvent, keys: KeyPath) -> str:
        text: str = event.value
        if len(text) > MOST_CHARACTERS:
            problem = f"a text of {len(text)} characters; at most {MOST_CHARACTERS} are read"
            raise self.refusal(problem, "write less; is a quote missing?", keys=keys)
        hidden = next((character for character in text if not character.isprintable()), None)
        if hidden is not None:
            problem = f"the text holds the character U+{ord(hidden):04X}, which nobody can see"
            raise self.refusal(problem, "write plain text on one line", keys=keys)
        return text

    def _refuse_indirection(self, event: yaml.Event, keys: KeyPath) -> None:
        if isinstance(event, yaml.NodeEvent) and event.anchor is not None:
            fix = "write the value out"
            raise self.refusal("anchors and aliases are not allowed here", fix, keys=keys)
        if isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent) and event.tag:
            raise self.refusal(f"the tag {event.tag} is not allowed here", "delete it", keys=keys)

    def _refuse_excess(self, keys: KeyPath) -> None:
        self._values += 1
        if len(keys) > DEEPEST:
            raise self.refusal(
                f"this is nested more than {DEEPEST} deep", "is a bracket not closed?"
            )
        if self._values > MOST_VALUES:
            raise self.refusal(
                f"the file holds more than {MOST_VALUES} values", "is it the right file?"
            )


def _explain(error: yaml.MarkedYAMLError, *, otherwise: Place) -> tuple[Place, str, str]:
    """Put what PyYAML says about wrong syntax into a place, a problem and a fix."""
    mark = error.problem_mark or error.context_mark
    place = Place(mark.line + 1, mark.column + 1) if mark else otherwise
    problem = error.problem or "wrong syntax"
    if r"'\t'" in problem:
        return place, "a tab stands where YAML wants spaces", "indent and separate with spaces"
    if problem.startswith("mapping values are not allowed"):
        fix = "quote a text that holds ': ', or align the key with its neighbors"
        return place, "not YAML: a second ': ' on one line, or a wrong indentation", fix
    if error.context and error.context_mark:
        problem = f"{error.context} (begun on line {error.context_mark.line + 1}), {problem}"
    fix = "look at the indentation, the quotes and the brackets here and just before"
    return place, f"not YAML: {problem}", fix


def _place_in(text: str, position: int) -> Place:
    before = text[:position]
    return Place(before.count("\n") + 1, position - before.rfind("\n"))
