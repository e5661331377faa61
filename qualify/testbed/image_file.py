"""From a folder of manifests to software images, or to everything that is wrong with them."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path as FilePath
from typing import Any

from qualify.errors import FileError
from qualify.testbed.complaint import Complaint, ComplaintsError, nearest
from qualify.testbed.image import (
    Image,
    Interruption,
    SimulatedBehaviour,
    SimulatedNeighbors,
    SimulatedOutcome,
    UpgradeMethod,
    VirtualBehaviour,
)
from qualify.testbed.node import Node
from qualify.testbed.shape import find_misshapen
from qualify.testbed.testbed import PathKind, Testbed
from qualify.testbed.text_file import read_text_file, reason_of
from qualify.testbed.yaml_tree import read_tree
from qualify.units import NS_PER_MS, NS_PER_S

MANIFEST_SUFFIXES = (".yaml", ".yml")
DEFAULT_UPGRADE_S = 30


def read_images(folder: FilePath) -> tuple[Image, ...]:
    """Read every manifest in a folder, in the order of their file names.

    That a payload has another sum than its manifest claims is no complaint here: refusing such an
    image is the device's duty, and a case may want to see it done.

    Raises:
        ComplaintsError: everything that is wrong with all of them, or with the folder.
    """
    complaints: list[Complaint] = []
    roots: list[Node] = []
    for file in _manifests(folder):
        try:
            root, repeated = read_tree(read_text_file(file).text, file=file)
        except ComplaintsError as error:
            complaints.extend(error.complaints)
            continue
        roots.append(root)
        complaints += [*repeated, *find_misshapen(root, schema="image"), *_missing_payload(root)]
    complaints.extend(_releases_used_twice(roots))
    if complaints:
        raise ComplaintsError(complaints)
    return tuple(_image(root.plain_mapping(), file=root.file) for root in roots)


def find_image(testbed: Testbed, *, release: str, images: Sequence[Image]) -> Image:
    """Find the image of a release for the devices of a testbed.

    Raises:
        FileError: there is none; it names the releases that there are.
    """
    driver = testbed.duts[0].driver
    fitting = [image for image in images if image.driver == driver]
    for image in fitting:
        if image.release == release:
            return image
    there_are = ", ".join(image.release for image in fitting)
    hint = nearest(release, [image.release for image in fitting])
    raise FileError(
        f"there is no image of release {release} for {driver} devices",
        fix=f"{hint} (there are: {there_are})"
        if fitting
        else f"add a manifest with driver: {driver}",
        where=str(testbed.images),
    )


def _manifests(folder: FilePath) -> list[FilePath]:
    try:
        return sorted(file for file in folder.iterdir() if file.suffix in MANIFEST_SUFFIXES)
    except OSError as error:
        problem = f"the folder of software images cannot be read: {reason_of(error)}"
        fix = "create it, or name another one under images: in the testbed"
        raise ComplaintsError([Complaint(folder, None, None, "", problem, fix)]) from error


def _missing_payload(root: Node) -> Iterator[Complaint]:
    payload = root.at("payload")
    name = root.text("payload")
    if payload and name and "/" not in name and not (root.file.parent / name).is_file():
        yield payload.complain(
            f"there is no file {name} beside the manifest",
            fix="put the payload there, or correct its name",
        )


def _releases_used_twice(roots: Sequence[Node]) -> Iterator[Complaint]:
    first: dict[tuple[str, str], FilePath] = {}
    for root in roots:
        node, release, driver = root.at("release"), root.text("release"), root.text("driver")
        if node is None or release is None or driver is None:
            continue
        other = first.setdefault((driver, release), root.file)
        if other != root.file:
            yield node.complain(
                f"release {release} for {driver} devices stands in {other.name} as well",
                fix="delete one of the two manifests",
            )


def _image(data: Mapping[str, Any], *, file: FilePath) -> Image:
    virtual = data["driver"] == "virtual"
    return Image(
        name=data["image"],
        maker=data["maker"],
        model=data["model"],
        train=data["train"],
        release=data["release"],
        driver=data["driver"],
        payload=file.parent / data["payload"],
        sha256=data["sha256"],
        behaviour=_virtual(data["upgrade"]) if virtual else _simulated(data["upgrade"]),
        file=file,
    )


def _virtual(data: Mapping[str, Any]) -> VirtualBehaviour:
    return VirtualBehaviour(
        method=UpgradeMethod(data["method"]),
        boot_s=float(data.get("boot_s", 0)),
        kept_routes_s=data.get("kept_routes_s", 0),
    )


def _simulated(data: Mapping[str, Any]) -> SimulatedBehaviour:
    return SimulatedBehaviour(
        outcome=SimulatedOutcome(data["outcome"]),
        upgrade_ns=int(data.get("upgrade_s", DEFAULT_UPGRADE_S) * NS_PER_S),
        interruptions={
            PathKind(kind): tuple(_interruption(one) for one in several)
            for kind, several in data.get("interruptions", {}).items()
        },
        neighbors={
            PathKind(kind): _neighbors(seen) for kind, seen in data.get("neighbors", {}).items()
        },
        routes_lost={PathKind(kind): lost for kind, lost in data.get("routes_lost", {}).items()},
    )


def _interruption(data: Mapping[str, Any]) -> Interruption:
    return Interruption(
        after_ns=int(data["after_s"] * NS_PER_S),
        outage_ns=int(data["outage_ms"] * NS_PER_MS),
        every=data.get("every", 1),
        towards=data.get("towards"),
    )


def _neighbors(data: Mapping[str, Any]) -> SimulatedNeighbors:
    return SimulatedNeighbors(
        flaps=data.get("flaps", 0),
        graceful_restarts=data.get("graceful_restarts", 0),
        down_ns=int(data.get("down_s", 0) * NS_PER_S),
        stays_down=data.get("stays_down", False),
    )
