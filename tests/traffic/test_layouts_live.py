"""Frames of every layout and size through a real bridge, and read by other programs."""

import subprocess
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest
from scapy.utils import PcapWriter

from qualify.errors import TrafficError
from qualify.frames import PLAIN, Layout, number_frames
from qualify.plan.stream import Stream
from qualify.testbed.testbed import Headers
from qualify.traffic.scapy_backend import ScapyTraffic
from qualify.traffic.scapy_sockets import ListeningPort, SendingPort
from qualify.traffic.templates import build_templates
from tests.frames.layouts import LAYOUTS, whole
from tests.traffic.live_bridge import Bridge, bridge_lab, stream, wait_until

pytestmark = pytest.mark.live

FRAMES = 60


@pytest.fixture(scope="module")
def bridge() -> Iterator[Bridge]:
    with bridge_lab() as built:
        for port in ("p3", "p4"):
            built.lab.namespace(port).run("ip", "link", "set", port, "mtu", "1500")
        yield built


def send(bridge: Bridge, *streams: Stream) -> list[int]:
    """Send some frames, see all of them arrive in order, and return how many they were."""
    backend = ScapyTraffic(bridge.site(inside=True))
    try:
        backend.open(streams, bridge.ports, run_id=0xABCD0123)
        backend.start()
        wait_until(lambda: min(count.sent or 0 for count in backend.counts()) >= FRAMES)
        backend.stop()
        wait_until(lambda: all(count.received == count.sent for count in backend.counts()))
        counts = backend.counts()
        captures = backend.collect()
    finally:
        backend.close()
    assert [count.impaired_ns for count in counts] == [None] * len(streams)
    assert [capture.tester_dropped for capture in captures] == [0] * len(streams)
    return [count.sent or 0 for count in counts]


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_the_smallest_and_the_largest_frames_cross_a_bridge(bridge: Bridge, layout: Layout) -> None:
    before = bridge.lab.frame_counts("d1")
    sent = send(
        bridge,
        stream(0, "p1", "p2", frame_octets=layout.smallest_frame_octets, layout=layout),
        stream(1, "p2", "p1", frame_octets=9216, layout=layout),
    )
    after = bridge.lab.frame_counts("d1")

    entered = [new.received - old.received for new, old in zip(after, before, strict=True)]
    left = [new.sent - old.sent for new, old in zip(after, before, strict=True)]
    assert entered[:2] == sent
    assert left[:2] == sent[::-1]


def test_a_mix_of_sizes_crosses_a_bridge_in_order(bridge: Bridge) -> None:
    mixed = replace(stream(0, "p1", "p2"), mix=(64, 64, 64, 1280, 1518, 9216))
    before = octets_received(bridge)
    (sent,) = send(bridge, mixed)
    # The device counts without the check sequence: 60 + 60 + 60 + 1276 + 1514 + 9212 octets.
    rounds, rest = divmod(sent, 6)
    started = sum((60, 60, 60, 1276, 1514)[:rest])
    assert octets_received(bridge) - before == rounds * 12_182 + started


def octets_received(bridge: Bridge) -> int:
    return int(bridge.device("cat /sys/class/net/e1/statistics/rx_bytes"))


@pytest.mark.parametrize(
    ("sent", "expected"),
    [
        (Layout(vlans=(10,)), Layout(vlans=(11,))),
        (Layout(vlans=(10,)), PLAIN),
        (PLAIN, Layout(vlans=(10,))),
        (Layout(vlans=(200, 10)), Layout(vlans=(201, 10))),
        (Layout(vlans=(200, 10)), Layout(vlans=(200, 11))),
        (Layout(vlans=(200, 10)), Layout(vlans=(10,))),
    ],
)
def test_a_frame_in_a_vlan_that_is_not_its_own_was_not_delivered(
    bridge: Bridge, sent: Layout, expected: Layout
) -> None:
    with ExitStack() as stack:
        receiver = ListeningPort(
            "p2", bridge.ports["p2"].namespace, run_id=7, layouts=[expected], buffer_octets=100_000
        )
        stack.callback(receiver.close)
        sender = SendingPort("p1", bridge.ports["p1"].namespace)
        stack.callback(sender.close)
        for number, layout in enumerate((sent, expected)):
            flow = stream(number, "p1", "p2", frame_octets=128, layout=layout)
            templates = build_templates(flow, bridge.ports["p1"], run_id=7)
            for at, head in enumerate(number_frames(templates, first=0, count=3)):
                sender.send(whole(templates, head, at))
        wait_until(receiver.has_queued)
        arrival = receiver.arrivals.recv()
    assert arrival is not None
    assert arrival.stream == 1


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_tcpdump_finds_every_checksum_right(bridge: Bridge, tmp_path: Path, layout: Layout) -> None:
    mixed = replace(
        stream(3, "p1", "p2", layout=layout), mix=(layout.smallest_frame_octets, 129, 1518)
    )
    templates = build_templates(mixed, bridge.ports["p1"], run_id=7)
    heads = number_frames(templates, first=0, count=6, sent_ns=1_234_567_890_123)
    file = tmp_path / "frames.pcap"
    with PcapWriter(str(file), linktype=1) as writer:
        for number, head in enumerate(heads):
            writer.write(whole(templates, head, number))
    tcpdump = bridge.lab.programs.path("tcpdump")
    shown = subprocess.run(
        [tcpdump, "-Z", "root", "-nnvvver", str(file)], capture_output=True, text=True, check=True
    ).stdout

    assert "bad cksum" not in shown
    assert shown.count("[udp sum ok]") == (6 if layout.has_udp else 0)
    assert shown.count("ethertype Unknown (0x88b5)") == (0 if layout.has_udp else 6)
    assert shown.count("vlan 10,") == (6 if layout.vlans else 0)
    assert shown.count("vlan 200,") == (6 if len(layout.vlans) > 1 else 0)


def test_the_kernel_leaves_room_for_one_tag_beyond_the_mtu(bridge: Bridge) -> None:
    """RFC 5180 §5.1.1: with a tag the largest usual frame has 1522 octets."""
    tagged = stream(0, "p3", "p4", frame_octets=1522, layout=Layout(vlans=(10,)))
    assert send(bridge, tagged)[0] >= FRAMES


def test_of_two_tags_the_kernel_counts_both_against_the_mtu(bridge: Bridge) -> None:
    too_large = replace(
        stream(0, "p3", "p4", layout=Layout(Headers.IPV4, (200, 10))), mix=(128, 1519)
    )
    backend = ScapyTraffic(bridge.site(inside=True))
    with pytest.raises(TrafficError, match="at most 1500 octets, the stream sends 1501"):
        backend.open([too_large], bridge.ports, run_id=1)
