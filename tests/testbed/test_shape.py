"""Complaints about the shape of a file."""

from pathlib import Path

import pytest

from qualify.testbed.shape import find_misshapen
from qualify.testbed.yaml_tree import read_tree


def complaints(text: str, *, schema: str) -> list[str]:
    root, _ = read_tree(text, file=Path("a.yaml"))
    return [str(complaint) for complaint in find_misshapen(root, schema=schema)]


def complaint_after(good: str, old: str, new: str, *, schema: str) -> str:
    assert good.count(old) == 1
    (only,) = complaints(good.replace(old, new), schema=schema)
    return only


def test_files_without_mistakes_are_approved(
    testbed_text: str, case_text: str, image_text: str
) -> None:
    assert complaints(testbed_text, schema="testbed") == []
    assert complaints(case_text, schema="case") == []
    assert complaints(image_text, schema="image") == []


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        (
            '"7.10"', "7.10",
            "a.yaml:12:43 duts.d2.release: 7.10 is read as a number\n  fix: quote it: \"7.10\"",
        ),
        (
            "5.1.0", "010",
            "a.yaml:11:43 duts.d1.release: 010 is read as a number\n  fix: quote it: \"010\"",
        ),
        (
            "quay", "12:34:56:01:02:03",
            "a.yaml:1:10 testbed: 12:34:56:01:02:03 is read as a number\n"
            '  fix: quote it: "12:34:56:01:02:03"',
        ),
        (
            "5.1.0", "true",
            "a.yaml:11:43 duts.d1.release: true is read as true or false\n"
            '  fix: quote it: "true"',
        ),
        (
            "release: 5.1.0", "release:",
            "a.yaml:11:34 duts.d1.release: a value is missing here\n"
            "  fix: write for example release: 5.1.0 (letters, digits, dots, hyphens, underscores "
            "and plus signs, at most 40 characters)",
        ),
        (
            "5.1.0", "[5, 1]",
            "a.yaml:11:43 duts.d1.release: a list of 2 cannot be a release\n"
            "  fix: write for example release: 5.1.0 (letters, digits, dots, hyphens, underscores "
            "and plus signs, at most 40 characters)",
        ),
        (
            "5.1.0", "../5",
            "a.yaml:11:43 duts.d1.release: '../5' cannot be a release\n"
            "  fix: write for example release: 5.1.0 (letters, digits, dots, hyphens, underscores "
            "and plus signs, at most 40 characters)",
        ),
        (
            "hosts: 120", "hosts: 201",
            "a.yaml:16:42 paths.l2.hosts: '201' cannot be a number of hosts\n"
            "  fix: write for example hosts: 120 (hosts on each side of the path, from 1 to 200)",
        ),
        (
            "hosts: 120", "hosts: 0120",
            "a.yaml:16:42 paths.l2.hosts: 0120 is not a plain decimal number\n"
            "  fix: write for example hosts: 120 (hosts on each side of the path, from 1 to 200), "
            "without leading zeros, underscores or exponents",
        ),
        (
            "hosts: 120", "hosts: '120'",
            "a.yaml:16:42 paths.l2.hosts: \"120\" is text, for it stands in quotes\n"
            "  fix: delete the quotes",
        ),
        (
            "hosts: 120", "hosts: 1.5",
            "a.yaml:16:42 paths.l2.hosts: '1.5' cannot be a number of hosts\n"
            "  fix: write for example hosts: 120 (hosts on each side of the path, from 1 to 200)",
        ),
        (
            "hosts: 120", "hosts: true",
            "a.yaml:16:42 paths.l2.hosts: 'true' cannot be a number of hosts\n"
            "  fix: write for example hosts: 120 (hosts on each side of the path, from 1 to 200)",
        ),
        (
            "hosts: 120", "hosts: {}",
            "a.yaml:16:42 paths.l2.hosts: an empty mapping cannot be a number of hosts\n"
            "  fix: write for example hosts: 120 (hosts on each side of the path, from 1 to 200)",
        ),
        (
            "hosts: 120", "hosts: 120, host: 5",
            "a.yaml:16:47 paths.l2.host: the key 'host' is not known here\n"
            "  fix: did you mean hosts?",
        ),
        (
            "hosts: 120", "hosts: 120, speed: 5",
            "a.yaml:16:47 paths.l2.speed: the key 'speed' is not known here\n"
            "  fix: choose one of kind, protocol, ports, hosts, routes, headers, vlans",
        ),
        (
            ", hosts: 120", "",
            "a.yaml:16:3 paths.l2: the key 'hosts' is missing\n  fix: add hosts: 120",
        ),
        (
            ", hosts: 120", ", hosts: 1, routes: 2",
            "a.yaml:16:45 paths.l2.routes: a path of kind l2 has hosts, and neither protocol nor "
            "routes\n  fix: delete this key, or change the kind to igp or egp",
        ),
        (
            "routes: 3000", "routes: 3000, hosts: 3",
            "a.yaml:17:67 paths.igp.hosts: a path of kind igp or egp has routes, and no hosts\n"
            "  fix: delete this key, or change the kind to l2",
        ),
        (
            "protocol: ospf", "protocol: bgp",
            "a.yaml:17:30 paths.igp.protocol: 'bgp' cannot be the protocol of an igp path\n"
            "  fix: write for example protocol: ospf (ospf is the only one so far)",
        ),
        (
            "kind: igp", "kind: egp",
            "a.yaml:17:30 paths.igp.protocol: 'ospf' cannot be the protocol of an egp path\n"
            "  fix: write for example protocol: bgp (bgp is the only one so far)",
        ),
        (
            "kind: igp", "kind: ipg",
            "a.yaml:17:15 paths.igp.kind: 'ipg' is not one of l2, igp, egp\n"
            "  fix: did you mean igp?",
        ),
        (
            "kind: virtual", "kind: physical",
            "a.yaml:2:1 kind: real devices are not supported yet by this version\n"
            "  fix: write kind: virtual or kind: simulated",
        ),
        (
            "kind: virtual", "kind: on",
            "a.yaml:2:7 kind: 'on' is not one of simulated, virtual\n"
            "  fix: choose one of simulated, virtual",
        ),
        (
            "hosts: 120", "hosts: 120, headers: ethernt",
            "a.yaml:16:56 paths.l2.headers: 'ethernt' is not one of ethernet, ipv4, ipv6\n"
            "  fix: did you mean ethernet?",
        ),
        (
            "hosts: 120", "hosts: 120, vlans: 10",
            "a.yaml:16:54 paths.l2.vlans: '10' cannot be the VLAN tags of the test frames\n"
            "  fix: write for example vlans: [200, 10] (one VLAN id, or two of them, the outer one "
            "first; each from 1 to 4094)",
        ),
        (
            "hosts: 120", "hosts: 120, vlans: [4095]",
            "a.yaml:16:55 paths.l2.vlans[0]: '4095' cannot be a VLAN id\n"
            "  fix: write for example 10 (a whole number from 1 to 4094)",
        ),
        (
            "hosts: 120", "hosts: 120, vlans: [1, 2, 3]",
            "a.yaml:16:54 paths.l2.vlans: a list of 3 cannot be the VLAN tags of the test frames\n"
            "  fix: write for example vlans: [200, 10] (one VLAN id, or two of them, the outer one "
            "first; each from 1 to 4094)",
        ),
        (
            "routes: 3000", "routes: 3000, headers: ipv6",
            "a.yaml:17:76 paths.igp.headers: 'ipv6' cannot be the headers of a path of kind igp or "
            "egp\n  fix: write for example headers: ipv4 (only ipv4 so far)",
        ),
        (
            "routes: 3000", "routes: 3000, vlans: [10]",
            "a.yaml:17:67 paths.igp.vlans: a path of kind igp or egp has no VLAN tags so far\n"
            "  fix: delete this key, or change the kind to l2",
        ),
        (
            "[p3, p4]", "[p3]",
            "a.yaml:17:43 paths.igp.ports: a list of 1 cannot be a pair of tester ports\n"
            "  fix: write for example ports: [p1, p2] (the names of two tester ports)",
        ),
        (
            "p4: {attach: d2/e4}", "up: {attach: d2/e4}",
            "a.yaml:9:5 tester.ports.up: 'up' cannot be the name of a port or a device\n"
            "  fix: choose another name: lower-case letters, digits and hyphens, a letter first, "
            "at most 11 characters; not up, a, lo, all or default",
        ),
        (
            "d2/e4", "d2-e4",
            "a.yaml:9:18 tester.ports.p4.attach: 'd2-e4' cannot be a device port\n"
            "  fix: write for example attach: d1/e1 (the name of a device, a slash, and the name "
            "of one of its ports)",
        ),
        (
            "[d1/e7, d2/e1]", "[d1/e7]",
            "a.yaml:14:5 links[0]: a list of 1 cannot be a link\n"
            "  fix: write for example [d1/e7, d2/e1] (a pair of device ports)",
        ),
        (
            "{attach: d2/e4}", "d2/e4",
            "a.yaml:9:9 tester.ports.p4: 'd2/e4' cannot be a tester port\n"
            "  fix: write for example p4: {attach: d1/e1} (where the cable of the tester port "
            "ends)",
        ),
    ],
)  # fmt: skip
def test_each_mistake_in_a_testbed_gets_one_complaint_with_place_and_fix(
    testbed_text: str, old: str, new: str, complaint: str
) -> None:
    assert complaint_after(testbed_text, old, new, schema="testbed") == complaint


@pytest.mark.parametrize(
    "name", ["up", "a", "lo", "all", "default", "P1", "1p", "p_1", "-p", "p.1", "twelve-chars", ""]
)
def test_a_port_cannot_have_a_name_that_would_break_an_interface(
    testbed_text: str, name: str
) -> None:
    complaint = complaint_after(testbed_text, "p4: {", f'"{name}": {{', schema="testbed")
    assert f"'{name}' cannot be the name of a port or a device" in complaint


def test_a_port_name_may_have_eleven_characters(testbed_text: str) -> None:
    text = testbed_text.replace("p4", "eleven-char")
    assert complaints(text, schema="testbed") == []


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        (
            "offered_load_pps: 200", "offered_load_pps: 0",
            "a.yaml:6:28 stream.offered_load_pps: '0' cannot be an offered load\n"
            "  fix: write for example offered_load_pps: 200 (whole frames per second in each "
            "direction of each path, from 1 to 10000000)",
        ),
        (
            "frame_octets: 128", "frame_octets: 63",
            "a.yaml:6:47 stream.frame_octets: '63' cannot be a frame size\n"
            "  fix: write for example frame_octets: 128 (octets from the destination MAC address "
            "to the frame check sequence, from 64 to 9216; for a mix a list of them, or a name of "
            "RFC 6985 such as aaafg)",
        ),
        (
            "frame_octets: 128", "frame_octets: [64, 63]",
            "a.yaml:6:52 stream.frame_octets[1]: '63' cannot be a frame size\n"
            "  fix: write for example 128 (octets from the destination MAC address to the frame "
            "check sequence, from 64 to 9216)",
        ),
        (
            "frame_octets: 128", "frame_octets: aaaqg",
            "a.yaml:6:47 stream.frame_octets: 'aaaqg' cannot be a frame size\n"
            "  fix: write for example frame_octets: 128 (octets from the destination MAC address "
            "to the frame check sequence, from 64 to 9216; for a mix a list of them, or a name of "
            "RFC 6985 such as aaafg)",
        ),
        (
            "frame_octets: 128", "frame_octets: []",
            "a.yaml:6:47 stream.frame_octets: a list of 0 cannot be a frame size\n"
            "  fix: write for example frame_octets: 128 (octets from the destination MAC address "
            "to the frame check sequence, from 64 to 9216; for a mix a list of them, or a name of "
            "RFC 6985 such as aaafg)",
        ),
        (
            "frame_octets: 128", "frame_octets: 9217",
            "a.yaml:6:47 stream.frame_octets: '9217' cannot be a frame size\n"
            "  fix: write for example frame_octets: 128 (octets from the destination MAC address "
            "to the frame check sequence, from 64 to 9216; for a mix a list of them, or a name of "
            "RFC 6985 such as aaafg)",
        ),
        (
            "trials: 3", "trials: 0",
            "a.yaml:5:9 trials: '0' cannot be a number of trials\n"
            "  fix: write for example trials: 3 (how many times the upgrade is done, from 1 to "
            "1000)",
        ),
        (
            "outage_ms: 50", "outage_ms: 0",
            "a.yaml:8:19 budgets.l2.outage_ms: '0' cannot be an outage\n"
            "  fix: write for example outage_ms: 50 (milliseconds, more than 0 and at most "
            "3600000, with at most six decimals)",
        ),
        (
            "outage_ms: 2.3", "outage_ms: 2.3000001",
            "a.yaml:9:20 budgets.igp.outage_ms: '2.3000001' cannot be an outage\n"
            "  fix: write for example outage_ms: 50 (milliseconds, more than 0 and at most "
            "3600000, with at most six decimals)",
        ),
        (
            "outage_ms: 50", "outage_ms: 5e1",
            "a.yaml:8:19 budgets.l2.outage_ms: 5e1 is not a plain decimal number\n"
            "  fix: write for example outage_ms: 50 (milliseconds, more than 0 and at most "
            "3600000, with at most six decimals), without leading zeros, underscores or exponents",
        ),
        (
            "[l2, igp]", "[l2, igp, l2]",
            "a.yaml:2:18 paths[2]: 'l2' stands here twice\n  fix: delete one of them",
        ),
        (
            "forbidden", "never",
            "a.yaml:10:42 neighbors.graceful_restarts: 'never' is not one of allowed, forbidden\n"
            "  fix: choose one of allowed, forbidden",
        ),
    ],
)  # fmt: skip
def test_each_mistake_in_a_case_gets_one_complaint_with_place_and_fix(
    case_text: str, old: str, new: str, complaint: str
) -> None:
    assert complaint_after(case_text, old, new, schema="case") == complaint


@pytest.mark.parametrize("octets", [64, 9216])
def test_the_smallest_and_the_largest_frame_are_allowed(case_text: str, octets: int) -> None:
    text = case_text.replace("frame_octets: 128", f"frame_octets: {octets}")
    assert complaints(text, schema="case") == []


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        (
            '"5.2"', "5.2",
            "a.yaml:4:8 train: 5.2 is read as a number\n  fix: quote it: \"5.2\"",
        ),
        (
            "payload: tern6.bin", "payload: ../tern6.bin",
            "a.yaml:7:10 payload: '../tern6.bin' cannot be the name of a file beside the manifest\n"
            "  fix: write for example payload: tern6-5.2.0-rc3.virtual.conf (the file that the "
            "device is given, without a folder)",
        ),
        (
            "outcome: upgraded", "outcome: never",
            "a.yaml:10:12 upgrade.outcome: 'never' is not one of upgraded, refused, never-back, "
            "fell-back\n  fix: did you mean never-back?",
        ),
        (
            "towards: 1", "towards: 2",
            "a.yaml:13:93 upgrade.interruptions.l2[1].towards: '2' cannot be a receiving side\n"
            "  fix: write for example towards: 1 (0 or 1, as in the ports of the path; both sides "
            "when this key is left out)",
        ),
        (
            "    egp: {flaps", "    l2: {flaps",
            "a.yaml:15:5 upgrade.neighbors.l2: the key 'l2' is not known here\n"
            "  fix: choose one of igp, egp",
        ),
    ],
)  # fmt: skip
def test_each_mistake_in_a_manifest_gets_one_complaint_with_place_and_fix(
    image_text: str, old: str, new: str, complaint: str
) -> None:
    assert complaint_after(image_text, old, new, schema="image") == complaint


def test_an_upgrade_of_a_virtual_device_has_other_keys(image_text: str) -> None:
    head = image_text[: image_text.index("upgrade:")].replace("simulated", "virtual")
    graceful = head + "upgrade: {method: graceful, kept_routes_s: 15}\n"
    cold = head + "upgrade: {method: cold, boot_s: 3}\n"
    assert complaints(graceful, schema="image") == []
    assert complaints(cold, schema="image") == []
    assert complaints(head + "upgrade: {method: cold}\n", schema="image") == [
        "a.yaml:9:1 upgrade: the key 'boot_s' is missing\n  fix: add boot_s: 2.5"
    ]
    assert complaints(cold.replace("boot_s", "kept_routes_s: 5, boot_s"), schema="image") == [
        "a.yaml:9:25 upgrade.kept_routes_s: a cold upgrade keeps no routes\n"
        "  fix: delete this key, or change the method to graceful"
    ]
    assert complaints(graceful.replace("}", ", outcome: upgraded}"), schema="image") == [
        "a.yaml:9:48 upgrade.outcome: the key 'outcome' is not known here\n"
        "  fix: choose one of method, boot_s, kept_routes_s"
    ]


def test_every_missing_key_is_named() -> None:
    shown = complaints("case: x\n", schema="case")
    assert [line.splitlines()[0] for line in shown] == [
        "a.yaml:1:1: the key 'paths' is missing",
        "a.yaml:1:1: the key 'tiers' is missing",
        "a.yaml:1:1: the key 'trials' is missing",
        "a.yaml:1:1: the key 'stream' is missing",
        "a.yaml:1:1: the key 'budgets' is missing",
    ]
    assert shown[0].splitlines()[1] == "  fix: add paths: [l2, igp, egp]"
    assert shown[3].splitlines()[1] == (
        "  fix: add stream: {offered_load_pps: 200, frame_octets: 128}"
    )
