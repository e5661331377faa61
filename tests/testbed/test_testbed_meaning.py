"""Testbeds that fit the schema and cannot be meant."""

from pathlib import Path

import pytest

from qualify.testbed.testbed_meaning import find_contradictions
from qualify.testbed.yaml_tree import read_tree


def complaints(text: str) -> list[str]:
    root, _ = read_tree(text, file=Path("a.yaml"))
    return [str(complaint) for complaint in find_contradictions(root)]


def test_a_testbed_without_mistakes_has_no_contradictions(testbed_text: str) -> None:
    assert complaints(testbed_text) == []


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        (
            "d2/e4", "d22/e4",
            "a.yaml:9:18 tester.ports.p4.attach: there is no device 'd22'\n"
            "  fix: did you mean d2?",
        ),
        (
            "d1/e7, d2/e1", "d1/e7, x/e1",
            "a.yaml:14:13 links[0][1]: there is no device 'x'\n  fix: choose one of d1, d2",
        ),
        (
            "p3: {attach: d1/e3}", "p3: {attach: d1/e1}",
            "a.yaml:8:18 tester.ports.p3.attach: d1/e1 is already cabled to tester port p1\n"
            "  fix: give each cable a device port of its own",
        ),
        (
            "d1/e7, d2/e1", "d1/e7, d2/e4",
            "a.yaml:14:13 links[0][1]: d2/e4 is already cabled to tester port p4\n"
            "  fix: give each cable a device port of its own",
        ),
        (
            "  - [d1/e7, d2/e1]", "  - [d1/e7, d2/e1]\n  - [d1/e8, d2/e1]",
            "a.yaml:15:13 links[1][1]: d2/e1 is already cabled to the link on line 14\n"
            "  fix: give each cable a device port of its own",
        ),
        (
            "  - [d1/e7, d2/e1]", "  - [d1/e7, d2/e1]\n  - [d1/e8, d1/e9]",
            "a.yaml:15:5 links[1]: this link joins d1 to itself\n"
            "  fix: name ports of two different devices",
        ),
        (
            "[p3, p4]", "[p3, p44]",
            "a.yaml:17:48 paths.igp.ports[1]: there is no tester port 'p44'\n"
            "  fix: did you mean p4?",
        ),
        (
            "[p3, p4]", "[p3, x]",
            "a.yaml:17:48 paths.igp.ports[1]: there is no tester port 'x'\n"
            "  fix: choose one of p1, p2, p3, p4",
        ),
        (
            "[p3, p4]", "[p3, p1]",
            "a.yaml:17:48 paths.igp.ports[1]: tester port p1 already belongs to path l2\n"
            "  fix: give each path two tester ports of its own",
        ),
        (
            "[p3, p4]", "[p3, p3]",
            "a.yaml:17:43 paths.igp.ports: both ports are p3\n"
            "  fix: name two different tester ports",
        ),
        (
            "  - [d1/e7, d2/e1]", "  []",
            "a.yaml:17:43 paths.igp.ports: no links lead from d1 to d2\n"
            "  fix: add links, for example - [d1/e7, d2/e7]",
        ),
        (
            "d1: {tier: 1, driver: virtual", "d1: {tier: 1, driver: simulated",
            "a.yaml:11:25 duts.d1.driver: a testbed of kind virtual cannot use the driver "
            "'simulated'\n  fix: write driver: virtual, or change the kind",
        ),
        (
            "traffic: scapy", "traffic: simulated",
            "a.yaml:4:12 tester.traffic: a testbed of kind virtual cannot use the traffic backend "
            "'simulated'\n  fix: write traffic: scapy, or change the kind",
        ),
        (
            "traffic: scapy", "traffic: counters",
            "a.yaml:4:12 tester.traffic: the traffic backend 'counters' needs to know where the "
            "counts are\n  fix: add counters: {file: counts.csv, columns: {stream: stream, "
            "sent: sent, received: received}} beside it",
        ),
        (
            "traffic: scapy", "traffic: scapy\n  counters: {file: counts.csv}",
            "a.yaml:5:3 tester.counters: the traffic backend 'scapy' counts by itself\n"
            "  fix: delete this key, or write traffic: counters",
        ),
        (
            "tier: 2", "tier: 3",
            "a.yaml:12:14 duts.d2.tier: tier 3, but no device stands on tier 2\n"
            "  fix: count the tiers from 1 without holes",
        ),
        (
            "tier: 1", "tier: 2",
            "a.yaml:12:14 duts.d2.tier: tier 2, but no device stands on tier 1\n"
            "  fix: count the tiers from 1 without holes",
        ),
    ],
)  # fmt: skip
def test_each_contradiction_gets_one_complaint_with_place_and_fix(
    testbed_text: str, old: str, new: str, complaint: str
) -> None:
    assert testbed_text.count(old) == 1
    assert complaints(testbed_text.replace(old, new)) == [complaint]


def test_a_path_whose_ports_are_on_one_device_port_is_told_so(testbed_text: str) -> None:
    text = testbed_text.replace("p2: {attach: d1/e2}", "p2: {attach: d1/e1}")
    assert complaints(text) == [
        "a.yaml:7:18 tester.ports.p2.attach: d1/e1 is already cabled to tester port p1\n"
        "  fix: give each cable a device port of its own",
        "a.yaml:16:25 paths.l2.ports: p1 and p2 are both attached to d1/e1\n"
        "  fix: attach the two tester ports to different device ports",
    ]


def test_a_simulated_testbed_needs_simulated_devices_and_traffic(testbed_text: str) -> None:
    text = testbed_text.replace("kind: virtual", "kind: simulated")
    assert [complaint.splitlines()[0] for complaint in complaints(text)] == [
        "a.yaml:11:25 duts.d1.driver: a testbed of kind simulated cannot use the driver 'virtual'",
        "a.yaml:12:25 duts.d2.driver: a testbed of kind simulated cannot use the driver 'virtual'",
        "a.yaml:4:12 tester.traffic: a testbed of kind simulated cannot use the traffic backend "
        "'scapy'",
    ]


def test_a_device_and_a_tester_port_cannot_share_a_name(testbed_text: str) -> None:
    text = testbed_text.replace("p1", "d1")
    assert complaints(text) == [
        "a.yaml:11:3 duts.d1: 'd1' is the name of a tester port as well\n"
        "  fix: rename one of the two"
    ]


def test_devices_are_joined_by_a_chain_of_links_in_any_order() -> None:
    text = """\
tester: {ports: {p1: {attach: a1/e1}, p2: {attach: d1/e1}}}
duts: {a1: {}, b1: {}, c1: {}, d1: {}}
links:
  - [c1/e1, d1/e2]
  - [b1/e1, a1/e2]
  - [c1/e2, b1/e2]
paths: {l2: {ports: [p1, p2]}}
"""
    assert complaints(text) == []
    assert [
        line.splitlines()[0] for line in complaints(text.replace("  - [c1/e2, b1/e2]\n", ""))
    ] == ["a.yaml:6:21 paths.l2.ports: no links lead from a1 to d1"]


@pytest.mark.parametrize(
    "text",
    [
        "duts: 5\ntester: [1]\npaths: x\nlinks: {a: 1}\n",
        "kind: [virtual]\ntester: {traffic: [1], ports: {p1: 5, p2: {attach: 7}}}\n",
        "duts: {d1: 5, d2: {tier: x, driver: 5}}\nlinks: [5, [1, 2], [d1/e1], []]\n",
        "paths: {a: 5, b: {ports: 5}, c: {ports: [1, 2]}, d: {ports: [p1, p2, p3]}}\n",
        "kind: virtual\nduts: {d1: {tier: true, driver: {}}}\n",
    ],
)
def test_parts_of_a_wrong_shape_are_left_to_the_schema(text: str) -> None:
    assert complaints(text) == []
