"""Everything in a testbed file that fits the schema and yet cannot be meant.

Parts of a wrong shape are passed over here: the schema has complained about them already.
"""

from collections.abc import Iterator

from qualify.testbed.complaint import Complaint, nearest
from qualify.testbed.node import Node

_PAIR = 2


def find_contradictions(root: Node) -> list[Complaint]:
    """Compare the parts of a testbed file with each other."""
    return [
        *_kind(root),
        *_counters(root),
        *_tiers(root),
        *_names_used_twice(root),
        *_cables(root),
        *_links(root),
        *_path_ports(root),
        *_path_ends(root),
    ]


def _kind(root: Node) -> Iterator[Complaint]:
    kind = root.text("kind")
    if kind not in ("simulated", "virtual"):
        return
    for dut in root.entries("duts").values():
        driver = dut.at("driver")
        if driver and driver.text() not in (None, kind):
            yield driver.complain(
                f"a testbed of kind {kind} cannot use the driver '{driver.written}'",
                fix=f"write driver: {kind}, or change the kind",
            )
    traffic = root.at("tester", "traffic")
    if traffic and traffic.text() and (traffic.text() == "simulated") != (kind == "simulated"):
        usual = "simulated" if kind == "simulated" else "scapy"
        yield traffic.complain(
            f"a testbed of kind {kind} cannot use the traffic backend '{traffic.written}'",
            fix=f"write traffic: {usual}, or change the kind",
        )


def _counters(root: Node) -> Iterator[Complaint]:
    traffic, counters = root.at("tester", "traffic"), root.at("tester", "counters")
    if traffic and traffic.text() == "counters" and not counters:
        yield traffic.complain(
            "the traffic backend 'counters' needs to know where the counts are",
            fix="add counters: {file: counts.csv, columns: {stream: stream, sent: sent, "
            "received: received}} beside it",
        )
    if traffic and traffic.text() not in (None, "counters") and counters:
        yield counters.complain_of_key(
            f"the traffic backend '{traffic.written}' counts by itself",
            fix="delete this key, or write traffic: counters",
        )


def _tiers(root: Node) -> Iterator[Complaint]:
    nodes = [dut.at("tier") for dut in root.entries("duts").values()]
    tiers = {node.value: node for node in nodes if node and type(node.value) is int}
    for tier, node in tiers.items():
        if tier > 1 and tier - 1 not in tiers:
            yield node.complain(
                f"tier {tier}, but no device stands on tier {tier - 1}",
                fix="count the tiers from 1 without holes",
            )


def _names_used_twice(root: Node) -> Iterator[Complaint]:
    """Devices and tester ports share one set of names: each becomes a place of its own."""
    for name, dut in root.entries("duts").items():
        if name in root.entries("tester", "ports"):
            yield dut.complain_of_key(
                f"'{name}' is the name of a tester port as well", fix="rename one of the two"
            )


def _cables(root: Node) -> Iterator[Complaint]:
    duts = list(root.entries("duts"))
    taken: dict[str, str] = {}
    for owner, end in _cable_ends(root):
        attachment = end.text() or ""
        device, slash, _ = attachment.partition("/")
        if not slash:
            continue
        if duts and device not in duts:
            yield end.complain(f"there is no device '{device}'", fix=nearest(device, duts))
        if attachment in taken:
            yield end.complain(
                f"{attachment} is already cabled to {taken[attachment]}",
                fix="give each cable a device port of its own",
            )
        taken.setdefault(attachment, owner)


def _cable_ends(root: Node) -> Iterator[tuple[str, Node]]:
    """Every device port that is written down, with what stands at the other end of its cable."""
    for name, port in root.entries("tester", "ports").items():
        if end := port.at("attach"):
            yield f"tester port {name}", end
    for link in root.elements("links"):
        for end in link.elements():
            yield f"the link on line {link.place.line}", end


def _links(root: Node) -> Iterator[Complaint]:
    for link in root.elements("links"):
        ends = _pair(link)
        if ends and _device(ends[0]) == _device(ends[1]):
            yield link.complain(
                f"this link joins {_device(ends[0])} to itself",
                fix="name ports of two different devices",
            )


def _path_ports(root: Node) -> Iterator[Complaint]:
    ports = list(root.entries("tester", "ports"))
    users: dict[str, str] = {}
    for name, path in root.entries("paths").items():
        for node in path.elements("ports"):
            port = node.text()
            if port is None:
                continue
            if ports and port not in ports:
                yield node.complain(f"there is no tester port '{port}'", fix=nearest(port, ports))
            if users.setdefault(port, name) != name:
                yield node.complain(
                    f"tester port {port} already belongs to path {users[port]}",
                    fix="give each path two tester ports of its own",
                )


def _path_ends(root: Node) -> Iterator[Complaint]:
    groups = _joined_devices(root)
    for path in root.entries("paths").values():
        both = path.at("ports")
        ports = _pair(both)
        if both is None or ports is None:
            continue
        if ports[0] == ports[1]:
            yield both.complain(f"both ports are {ports[0]}", fix="name two different tester ports")
            continue
        ends = [root.text("tester", "ports", port, "attach") or "" for port in ports]
        devices = [_device(end) for end in ends]
        if ends[0] == ends[1] != "":
            yield both.complain(
                f"{ports[0]} and {ports[1]} are both attached to {ends[0]}",
                fix="attach the two tester ports to different device ports",
            )
        elif all(device in groups for device in devices) and len({groups[d] for d in devices}) > 1:
            yield both.complain(
                f"no links lead from {devices[0]} to {devices[1]}",
                fix=f"add links, for example - [{devices[0]}/e7, {devices[1]}/e7]",
            )


def _joined_devices(root: Node) -> dict[str, str]:
    """Name for each device a group; devices that links join, if only by others, are in one.

    Nothing is said while a link is wrong: mending it may join what seems apart.
    """
    groups = {name: name for name in root.entries("duts")}
    for link in root.elements("links"):
        old, new = (groups.get(_device(end)) for end in _pair(link) or ("", ""))
        if not old or not new:
            return {}
        groups = {name: new if group == old else group for name, group in groups.items()}
    return groups


def _device(attachment: str) -> str:
    return attachment.partition("/")[0]


def _pair(node: Node | None) -> tuple[str, str] | None:
    """Return the two texts of a list of two, else nothing."""
    texts = [text for element in node.elements() if (text := element.text())] if node else []
    return (texts[0], texts[1]) if len(texts) == _PAIR else None
