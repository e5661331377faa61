"""Templates as scapy itself reads them."""

import time
from dataclasses import replace
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path

import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.inet6 import IPv6
from scapy.layers.l2 import Dot1AD, Dot1Q, Ether
from scapy.utils import rdpcap, wrpcap

from qualify.errors import PlanError
from qualify.frames import Layout, Templates, number_frames
from qualify.plan.stream import Destination
from qualify.testbed.testbed import Headers
from qualify.traffic.backend import PortAccess
from qualify.traffic.scapy_layer import NumberedPayload
from qualify.traffic.templates import build_templates
from tests.frames.layouts import LAYOUTS, rebuilt, whole
from tests.traffic.live_bridge import stream

SENDER = PortAccess("p1", "02:10:00:00:00:01", "02:20:00:00:00:01", None)
SWITCHED = stream(3, "p1", "p2", frame_octets=128)
ROUTED = replace(
    SWITCHED,
    destinations=tuple(
        Destination(f"r{n}", IPv4Address("198.18.65.1"), IPv4Address("198.19.65.0") + n, None, None)
        for n in range(12_000)
    ),
)


def frames(templates: Templates, count: int) -> list[bytes]:
    heads = number_frames(templates, first=0, count=count)
    return [whole(templates, head, number) for number, head in enumerate(heads)]


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_every_destination_has_its_addresses_and_right_checksums(layout: Layout) -> None:
    templates = build_templates(
        stream(3, "p1", "p2", frame_octets=128, layout=layout), SENDER, run_id=7
    )
    assert templates.destinations == 3
    for host, frame in enumerate(frames(templates, 3)):
        assert len(frame) == 124
        packet = Ether(frame)
        assert (packet.src, packet.dst) == (f"02:00:00:00:01:0{host}", f"02:00:00:00:02:0{host}")
        assert rebuilt(frame) == frame


def test_addresses_of_either_ip_are_those_of_the_hosts() -> None:
    plain = Ether(frames(build_templates(SWITCHED, SENDER, run_id=7), 3)[2])
    assert (plain[IP].src, plain[IP].dst) == ("198.18.1.13", "198.18.2.13")
    six = stream(3, "p1", "p2", frame_octets=128, layout=Layout(Headers.IPV6))
    packet = Ether(frames(build_templates(six, SENDER, run_id=7), 3)[2])
    assert (packet[IPv6].src, packet[IPv6].dst) == ("2001:2:0:1::d", "2001:2:0:2::d")


def test_two_tags_are_8021ad_outside_and_8021q_inside() -> None:
    layout = Layout(Headers.IPV4, (200, 10))
    templates = build_templates(
        stream(3, "p1", "p2", frame_octets=128, layout=layout), SENDER, run_id=7
    )
    frame = frames(templates, 1)[0]
    assert frame[12:22].hex() == "88a800c88100000a0800"
    packet = Ether(frame)
    assert (packet[Dot1AD].vlan, packet[Dot1Q].vlan) == (200, 10)


def test_one_tag_is_8021q() -> None:
    layout = Layout(Headers.ETHERNET, (4094,))
    templates = build_templates(stream(3, "p1", "p2", layout=layout), SENDER, run_id=7)
    assert frames(templates, 1)[0][12:20].hex() == "81000ffe88b55155"


def test_lengths_and_ports_are_those_of_rfc_2544() -> None:
    packet = Ether(frames(build_templates(SWITCHED, SENDER, run_id=7), 1)[0])
    assert (packet[IP].len, packet[UDP].len) == (0x6E, 0x5A)
    assert (packet[UDP].sport, packet[UDP].dport) == (0xC020, 7)


def test_a_routed_stream_goes_from_the_port_to_the_device() -> None:
    templates = build_templates(ROUTED, SENDER, run_id=7)
    packet = Ether(templates.heads[0, 11_999].tobytes())
    assert (packet.src, packet.dst) == ("02:10:00:00:00:01", "02:20:00:00:00:01")
    assert packet[IP].dst == "198.19.111.223"


def test_twelve_thousand_destinations_and_large_frames_take_little_time_and_room() -> None:
    started = time.monotonic()
    templates = build_templates(replace(ROUTED, mix=(64, 9216, 1518)), SENDER, run_id=7)
    assert time.monotonic() - started < 1
    assert templates.heads.nbytes == 3 * 12_000 * 60
    assert templates.fill.nbytes == 9152


def test_the_frames_of_a_mix_have_its_sizes_in_order_and_right_checksums() -> None:
    mixed = replace(SWITCHED, mix=(64, 64, 9216, 129, 1518))
    sent = frames(build_templates(mixed, SENDER, run_id=7), 7)
    assert [len(frame) for frame in sent] == [60, 60, 9212, 125, 1514, 60, 60]
    assert [rebuilt(frame) for frame in sent] == sent


def test_a_frame_too_small_for_its_payload_is_refused() -> None:
    with pytest.raises(PlanError, match="a frame of 63 octets cannot be sent"):
        build_templates(replace(SWITCHED, frame_octets=63), SENDER, run_id=7)


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_a_capture_opened_in_scapy_shows_our_numbers(tmp_path: Path, layout: Layout) -> None:
    templates = build_templates(
        stream(3, "p1", "p2", frame_octets=128, layout=layout), SENDER, run_id=7
    )
    heads = number_frames(templates, first=41, count=2, sent_ns=1_000_000_007)
    captured = [Ether(whole(templates, head, 41 + at)) for at, head in enumerate(heads)]
    wrpcap(str(tmp_path / "capture.pcap"), captured)
    payload = rdpcap(str(tmp_path / "capture.pcap"))[1][NumberedPayload]
    assert payload.magic == 0x5155
    assert (payload.run_id, payload.stream, payload.number) == (7, 3, 42)
    assert payload.sent_ns == 1_000_000_007
    assert len(payload.load) == 124 - layout.payload_end


def test_ipv6_addresses_of_a_stream_are_in_the_benchmarking_block() -> None:
    """RFC 6890: 2001:2::/48."""
    six = stream(3, "p1", "p2", layout=Layout(Headers.IPV6))
    assert six.destinations[0].source == IPv6Address("2001:2:0:1::b")
