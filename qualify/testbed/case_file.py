"""From a case file and a testbed to a Case, or to everything that is wrong with the file."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path as FilePath
from typing import Any

from qualify.testbed.case import (
    Case,
    NeighborBudget,
    Order,
    PathBudget,
    RouteBudget,
    StreamSpec,
)
from qualify.testbed.complaint import Complaint, ComplaintsError, nearest
from qualify.testbed.frame_sizes import (
    LARGEST_FRAME_OCTETS,
    MTU_LETTER,
    OCTETS_OF_LETTER,
    read_size_name,
    size_letters,
)
from qualify.testbed.node import Node
from qualify.testbed.shape import find_misshapen
from qualify.testbed.testbed import Testbed
from qualify.testbed.text_file import read_text_file
from qualify.testbed.yaml_tree import read_tree
from qualify.units import NS_PER_MS

_TOO_LARGE = [
    letter for letter, octets in OCTETS_OF_LETTER.items() if octets > LARGEST_FRAME_OCTETS
]


def read_case(file: FilePath, testbed: Testbed) -> Case:
    """Read a case file and compare it with the testbed on which it is to run.

    A case for another number of tiers than the testbed has is no mistake: the plan leaves it out.

    Raises:
        ComplaintsError: everything that is wrong with it, in line order.
    """
    root, sha256 = _read(file, known_paths=[path.name for path in testbed.paths])
    return _case(root.plain_mapping(), file=file, sha256=sha256)


def check_case(file: FilePath) -> None:
    """Complain about everything in a case file that is wrong on any testbed.

    For the time when the testbed itself cannot be read.

    Raises:
        ComplaintsError: everything that is wrong with it, in line order.
    """
    _read(file, known_paths=None)


def _read(file: FilePath, *, known_paths: Sequence[str] | None) -> tuple[Node, str]:
    source = read_text_file(file)
    root, repeated = read_tree(source.text, file=file)
    complaints = [
        *repeated,
        *find_misshapen(root, schema="case"),
        *_paths(root, known_paths),
        *_size_name(root),
        *_budgets(root, known_paths),
    ]
    if complaints:
        raise ComplaintsError(complaints)
    return root, source.sha256


def _paths(root: Node, known: Sequence[str] | None) -> Iterator[Complaint]:
    budgets = root.at("budgets")
    for path in root.elements("paths"):
        name = path.text()
        if name is None:
            continue
        if known is not None and name not in known:
            yield path.complain(f"the testbed has no path '{name}'", fix=nearest(name, known))
        elif budgets and name not in budgets.entries():
            yield path.complain(
                f"path {name} has no budget", fix=f"add {name}: {{outage_ms: 50}} under budgets"
            )


def _size_name(root: Node) -> Iterator[Complaint]:
    stream = root.at("stream")
    sizes = root.at("stream", "frame_octets")
    letters = size_letters(root.text("stream", "frame_octets") or "")
    mtu = root.at("stream", "mtu_frame_octets")
    if sizes and (too_large := [x for x in _TOO_LARGE if x in letters]):
        yield sizes.complain(
            f"the letter {too_large[0]} stands for {OCTETS_OF_LETTER[too_large[0]]} octets, and "
            f"frames have at most {LARGEST_FRAME_OCTETS}",
            fix=f"leave the {too_large[0]} out",
        )
    if sizes and MTU_LETTER in letters and not mtu:
        yield sizes.complain(
            f"the letter {MTU_LETTER} stands for the size of the MTU, which is not stated",
            fix="add mtu_frame_octets: 1518 to the stream",
        )
    if stream and mtu and MTU_LETTER not in letters:
        yield mtu.complain_of_key(
            f"the letter {MTU_LETTER}, for which this stands, is not in frame_octets",
            fix="delete this key",
        )


def _budgets(root: Node, known: Sequence[str] | None) -> Iterator[Complaint]:
    used = [path.text() for path in root.elements("paths")]
    for name, budget in root.entries("budgets").items():
        if known is not None and name not in known:
            yield budget.complain_of_key(
                f"a budget on a path that the testbed lacks: '{name}'", fix=nearest(name, known)
            )
        elif used and name not in used:
            yield budget.complain_of_key(
                f"a budget on a path that this case does not use: '{name}'",
                fix=f"delete it, or add {name} to the paths of the case",
            )


def _case(data: Mapping[str, Any], *, file: FilePath, sha256: str) -> Case:
    neighbors = data.get("neighbors", {})
    return Case(
        name=data["case"],
        paths=tuple(data["paths"]),
        tiers=data["tiers"],
        order=Order(data.get("order", Order.SIMULTANEOUS)),
        trials=data["trials"],
        stream=_stream(data["stream"]),
        # The schema allows six decimals of a millisecond, so this is a whole number.
        budgets={
            name: PathBudget(outage_ns=int(budget["outage_ms"] * NS_PER_MS))
            for name, budget in data["budgets"].items()
        },
        neighbors=NeighborBudget(
            flaps=neighbors.get("flaps", 0),
            graceful_restarts_allowed=neighbors.get("graceful_restarts", "allowed") == "allowed",
        ),
        routes=RouteBudget(lost=data.get("routes", {}).get("lost", 0)),
        file=file,
        sha256=sha256,
    )


def _stream(data: Mapping[str, Any]) -> StreamSpec:
    sizes = data["frame_octets"]
    if isinstance(sizes, int):
        sizes = (sizes,)
    elif isinstance(sizes, str):
        sizes = read_size_name(sizes, mtu_frame_octets=data.get("mtu_frame_octets"))
    return StreamSpec(
        offered_load_pps=data["offered_load_pps"],
        frame_octets=sizes[0],
        mix=tuple(sizes) if len(sizes) > 1 else (),
    )
