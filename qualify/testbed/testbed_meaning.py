"""Everything in a testbed file that fits the schema and yet cannot be meant."""

from collections.abc import Iterator, Mapping

from qualify.testbed.complaint import Complaint, nearest
from qualify.testbed.node import Node


def find_contradictions(root: Node) -> list[Complaint]:
    """Compare the parts of a testbed file with each other.

    Parts of a wrong shape are passed over: the schema has complained about them.
    """
    return [
        *_names_used_twice(root),
        *_cables(root),
        *_paths(root),
        *_unjoined_paths(root),
        *_kind(root),
        *_tiers(root),
    ]


def _names_used_twice(root: Node) -> Iterator[Complaint]:
    for name, dut in root.entries("duts").items():
        if name in root.entries("tester", "ports"):
            yield dut.complain_of_key(
                f"'{name}' is the name of a tester port as well", fix="rename one of the two"
            )


def _cable_ends(root: Node) -> Iterator[tuple[str, Node]]:
    """Every device port that is written down, with what it is cabled to."""
    for name, port in root.entries("tester", "ports").items():
        if end := port.child("attach"):
            yield f"tester port {name}", end
    for link in root.elements("links"):
        for end in link.elements():
            yield f"the link on line {link.place.line}", end


def _cables(root: Node) -> Iterator[Complaint]:
    duts = list(root.entries("duts"))
    taken: dict[str, str] = {}
    for owner, end in _cable_ends(root):
        written = end.text()
        if written is None:
            continue
        dut, slash, _ = written.partition("/")
        if duts and slash and dut not in duts:
            yield end.complain(f"there is no device '{dut}'", fix=nearest(dut, duts))
        if written in taken:
            yield end.complain(
                f"{written} is already cabled to {taken[written]}",
                fix="give each cable a device port of its own",
            )
        taken.setdefault(written, owner)
    for link in root.elements("links"):
        ends = [_device(end.text()) for end in link.elements()]
        if len(ends) == 2 and ends[0] == ends[1] is not None:  # noqa: PLR2004
            yield link.complain(
                f"this link joins {ends[0]} to itself", fix="name ports of two different devices"
            )


def _device(attachment: str | None) -> str | None:
    return attachment.partition("/")[0] if attachment else None


def _paths(root: Node) -> Iterator[Complaint]:
    ports = root.entries("tester", "ports")
    users: dict[str, str] = {}
    for name, path in root.entries("paths").items():
        for end in path.elements("ports"):
            port = end.text()
            if port is None:
                continue
            if ports and port not in ports:
                yield end.complain(
                    f"there is no tester port '{port}'", fix=nearest(port, list(ports))
                )
            if users.setdefault(port, name) != name:
                yield end.complain(
                    f"tester port {port} already belongs to path {users[port]}",
                    fix="give each path two tester ports of its own",
                )
        yield from _one_ended(path, ports)


def _one_ended(path: Node, ports: Mapping[str, Node]) -> Iterator[Complaint]:
    both = path.at("ports")
    ends = [end.text() for end in path.elements("ports")]
    if both is None or len(ends) != 2 or None in ends:  # noqa: PLR2004
        return
    if ends[0] == ends[1]:
        yield both.complain(f"both ports are {ends[0]}", fix="name two different tester ports")
        return
    attached = [ports[end].text("attach") for end in ends if end in ports]
    if len(attached) == 2 and attached[0] == attached[1] is not None:  # noqa: PLR2004
        yield both.complain(
            f"{ends[0]} and {ends[1]} are both attached to {attached[0]}",
            fix="attach the two ports to different device ports",
        )


def _unjoined_paths(root: Node) -> Iterator[Complaint]:
    """A path between two devices that no chain of links joins."""
    duts = root.entries("duts")
    group = {name: name for name in duts}
    for link in root.elements("links"):
        ends = [group.get(_device(end.text()) or "") for end in link.elements()]
        if len(ends) == 2 and None not in ends:  # noqa: PLR2004
            group = {name: ends[0] if g == ends[1] else g for name, g in group.items()}  # type: ignore[misc]
    for path in root.entries("paths").values():
        both = path.at("ports")
        devices = [
            _device(root.text("tester", "ports", end.text() or "", "attach")) or ""
            for end in path.elements("ports")
        ]
        known = [device for device in devices if device in duts]
        if both and len(known) == 2 and group[known[0]] != group[known[1]]:  # noqa: PLR2004
            yield both.complain(
                f"no links lead from {known[0]} to {known[1]}",
                fix=f"add links, e.g. links: [[{known[0]}/e7, {known[1]}/e7]]",
            )


def _kind(root: Node) -> Iterator[Complaint]:
    kind = root.text("kind")
    if kind not in ("simulated", "virtual"):
        return
    for dut in root.entries("duts").values():
        driver = dut.at("driver")
        if driver and isinstance(driver.value, str) and driver.value != kind:
            yield driver.complain(
                f"a testbed of kind {kind} cannot use the driver '{driver.value}'",
                fix=f"write driver: {kind}, or change the kind",
            )
    traffic = root.at("tester", "traffic")
    if traffic is None or not isinstance(traffic.value, str):
        return
    if (traffic.value == "simulated") != (kind == "simulated"):
        other = "simulated" if kind == "simulated" else "scapy"
        yield traffic.complain(
            f"a testbed of kind {kind} cannot use the traffic backend '{traffic.value}'",
            fix=f"write traffic: {other}, or change the kind",
        )


def _tiers(root: Node) -> Iterator[Complaint]:
    nodes = [dut.at("tier") for dut in root.entries("duts").values()]
    tiers = {node.value: node for node in nodes if node and type(node.value) is int}
    for tier, node in tiers.items():
        if isinstance(tier, int) and tier > 1 and tier - 1 not in tiers:
            yield node.complain(
                f"tier {tier}, but no device stands on tier {tier - 1}",
                fix="count the tiers from 1 without holes",
            )
