"""From a testbed file to a Testbed, or to everything that is wrong with the file."""

from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

from qualify.testbed.complaint import ComplaintsError
from qualify.testbed.shape import find_misshapen
from qualify.testbed.testbed import (
    Attachment,
    BenchKind,
    Column,
    CountersFile,
    Dut,
    Headers,
    Link,
    Path,
    PathKind,
    Port,
    Testbed,
    Tester,
)
from qualify.testbed.testbed_meaning import find_contradictions
from qualify.testbed.text_file import read_text_file
from qualify.testbed.yaml_tree import read_tree

DEFAULT_IMAGES = "images"


def read_testbed(file: FilePath) -> Testbed:
    """Read a testbed file.

    Raises:
        ComplaintsError: everything that is wrong with it, in line order.
    """
    source = read_text_file(file)
    root, repeated = read_tree(source.text, file=file)
    complaints = [*repeated, *find_misshapen(root, schema="testbed"), *find_contradictions(root)]
    if complaints:
        raise ComplaintsError(complaints)
    return _testbed(root.plain_mapping(), file=file, sha256=source.sha256)


def _testbed(data: Mapping[str, Any], *, file: FilePath, sha256: str) -> Testbed:
    return Testbed(
        name=data["testbed"],
        kind=BenchKind(data["kind"]),
        tester=_tester(data["tester"], folder=file.parent),
        duts=tuple(Dut(name=name, **dut) for name, dut in data["duts"].items()),
        links=tuple(Link(_attachment(a), _attachment(b)) for a, b in data.get("links", [])),
        paths=tuple(_path(name, path) for name, path in data["paths"].items()),
        images=file.parent / data.get("images", DEFAULT_IMAGES),
        file=file,
        sha256=sha256,
    )


def _tester(data: Mapping[str, Any], *, folder: FilePath) -> Tester:
    ports = tuple(Port(name, _attachment(port["attach"])) for name, port in data["ports"].items())
    counters = _counters(data["counters"], folder=folder) if "counters" in data else None
    return Tester(traffic=data["traffic"], ports=ports, counters=counters)


def _counters(data: Mapping[str, Any], *, folder: FilePath) -> CountersFile:
    columns = {Column(column): name for column, name in data["columns"].items()}
    return CountersFile(file=folder / data["file"], columns=columns)


def _attachment(text: str) -> Attachment:
    dut, port = text.split("/")
    return Attachment(dut=dut, port=port)


def _path(name: str, data: Mapping[str, Any]) -> Path:
    first, second = data["ports"]
    return Path(
        name=name,
        kind=PathKind(data["kind"]),
        protocol=data.get("protocol"),
        ports=(first, second),
        hosts=data.get("hosts"),
        routes=data.get("routes"),
        headers=Headers(data.get("headers", Headers.IPV4)),
        vlans=tuple(data.get("vlans", ())),
    )
