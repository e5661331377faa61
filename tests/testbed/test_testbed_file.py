"""Testbed files."""

from collections.abc import Callable
from pathlib import Path as FilePath

import pytest

from qualify.testbed.complaint import ComplaintsError
from qualify.testbed.testbed import (
    Attachment,
    BenchKind,
    Dut,
    Headers,
    Link,
    Path,
    PathKind,
    Port,
    Testbed,
    Tester,
)
from qualify.testbed.testbed_file import read_testbed

Write = Callable[..., FilePath]


def test_a_file_becomes_a_testbed_in_the_order_of_the_file(write: Write, testbed_text: str) -> None:
    testbed = read_testbed(write(testbed_text, "benches/a.yaml"))
    assert testbed == Testbed(
        name="quay",
        kind=BenchKind.VIRTUAL,
        tester=Tester(
            traffic="scapy",
            ports=(
                Port("p1", Attachment("d1", "e1")),
                Port("p2", Attachment("d1", "e2")),
                Port("p3", Attachment("d1", "e3")),
                Port("p4", Attachment("d2", "e4")),
            ),
        ),
        duts=(
            Dut("d1", tier=1, driver="virtual", release="5.1.0"),
            Dut("d2", tier=2, driver="virtual", release="7.10"),
        ),
        links=(Link(Attachment("d1", "e7"), Attachment("d2", "e1")),),
        paths=(
            Path("l2", PathKind.L2, None, ("p1", "p2"), hosts=120, routes=None),
            Path("igp", PathKind.IGP, "ospf", ("p3", "p4"), hosts=None, routes=3000),
        ),
        images=FilePath("benches/images"),
        file=FilePath("benches/a.yaml"),
        sha256=testbed.sha256,
    )
    assert testbed.tiers == 2


def test_a_switched_path_says_what_its_frames_look_like(write: Write, testbed_text: str) -> None:
    text = testbed_text.replace("hosts: 120", "hosts: 120, headers: ipv6, vlans: [200, 10]")
    path = read_testbed(write(text)).path("l2")
    assert path.headers is Headers.IPV6
    assert path.vlans == (200, 10)


def test_frames_are_untagged_ipv4_when_nothing_is_said(write: Write, testbed_text: str) -> None:
    path = read_testbed(write(testbed_text)).path("igp")
    assert path.headers is Headers.IPV4
    assert path.vlans == ()


def test_the_folder_of_images_is_seen_from_the_testbed_file(
    write: Write, testbed_text: str
) -> None:
    beside = read_testbed(write(testbed_text + "images: ../stock\n", "benches/a.yaml"))
    assert beside.images == FilePath("benches/../stock")
    absolute = read_testbed(write(testbed_text + "images: /srv/stock\n", "benches/a.yaml"))
    assert absolute.images == FilePath("/srv/stock")


def test_links_may_be_left_out(write: Write, testbed_text: str) -> None:
    text = testbed_text.replace("links:\n  - [d1/e7, d2/e1]\n", "").replace("d2/e4", "d1/e4")
    assert read_testbed(write(text)).links == ()


def test_several_mistakes_are_shown_at_once_in_line_order(write: Write) -> None:
    file = write(
        """\
testbed: quay
kind: virtual
tester:
  traffic: scapy
  ports:
    p1: {attach: d1/e1}
    p2: {attach: d9/e2}
duts:
  d1: {tier: 1, driver: virtual, relase: 7.10}
  d2: {tier: 3, driver: virtual, release: 7.10}
paths:
  l2: {kind: l2, ports: [p1, p3], hosts: 120}
  l2: {kind: l2, ports: [p1, p2], hosts: 120}
  igp: {kind: igp, protocol: ospf, ports: [p1, p2]}
""",
        "testbeds/a.yaml",
    )
    with pytest.raises(ComplaintsError) as caught:
        read_testbed(file)
    assert str(caught.value) == (
        "testbeds/a.yaml:7:18 tester.ports.p2.attach: there is no device 'd9'\n"
        "  fix: choose one of d1, d2\n"
        "testbeds/a.yaml:9:3 duts.d1: the key 'release' is missing\n"
        "  fix: add release: 5.1.0\n"
        "testbeds/a.yaml:9:34 duts.d1.relase: the key 'relase' is not known here\n"
        "  fix: did you mean release?\n"
        "testbeds/a.yaml:10:14 duts.d2.tier: tier 3, but no device stands on tier 2\n"
        "  fix: count the tiers from 1 without holes\n"
        "testbeds/a.yaml:10:43 duts.d2.release: 7.10 is read as a number\n"
        '  fix: quote it: "7.10"\n'
        "testbeds/a.yaml:12:30 paths.l2.ports[1]: there is no tester port 'p3'\n"
        "  fix: choose one of p1, p2\n"
        "testbeds/a.yaml:13:3 paths.l2: the key 'l2' stands here a second time, first on line 12\n"
        "  fix: delete one of the two, or rename it\n"
        "testbeds/a.yaml:14:3 paths.igp: the key 'routes' is missing\n"
        "  fix: add routes: 3000\n"
        "testbeds/a.yaml:14:44 paths.igp.ports[0]: tester port p1 already belongs to path l2\n"
        "  fix: give each path two tester ports of its own"
    )


def test_a_folder_is_refused(tmp_path: FilePath) -> None:
    with pytest.raises(ComplaintsError, match="this is a folder"):
        read_testbed(tmp_path)


def test_the_counts_of_another_generator_are_seen_from_the_testbed_file(
    write: Write, testbed_text: str
) -> None:
    file = write(
        testbed_text.replace(
            "  traffic: scapy",
            "  traffic: counters\n"
            "  counters: {file: c/counts.csv, columns: {stream: Flow, sent: Tx, received: Rx, "
            "duplicate: Dup}}",
        )
    )

    counters = read_testbed(file).tester.counters

    assert counters is not None
    assert counters.file == file.parent / "c/counts.csv"
    assert counters.columns == {
        "stream": "Flow",
        "sent": "Tx",
        "received": "Rx",
        "duplicate": "Dup",
    }


def test_columns_that_a_figure_needs_must_have_names(write: Write, testbed_text: str) -> None:
    file = write(
        testbed_text.replace(
            "  traffic: scapy",
            "  traffic: counters\n"
            "  counters: {file: counts.txt, columns: {stream: Flow, Tx: sent}}",
        )
    )

    with pytest.raises(ComplaintsError) as caught:
        read_testbed(file)

    said = str(caught.value)
    assert "tester.counters.file: 'counts.txt' cannot be a file of counts" in said
    assert "the key 'sent' is missing\n  fix: add sent: Tx frames" in said
    assert "the key 'received' is missing" in said
    assert "the key 'Tx' is not known here" in said
