"""Templates as scapy itself reads them."""

import time
from dataclasses import replace
from ipaddress import IPv4Address
from pathlib import Path

import pytest
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether
from scapy.utils import rdpcap, wrpcap

from qualify.errors import PlanError
from qualify.frames import number_frames
from qualify.plan.stream import Destination
from qualify.traffic.backend import PortAccess
from qualify.traffic.scapy_layer import NumberedPayload
from qualify.traffic.templates import build_templates
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


def test_every_destination_has_its_addresses_and_right_checksums() -> None:
    templates = build_templates(SWITCHED, SENDER, run_id=7)
    assert templates.shape == (3, 124)
    for host, template in enumerate(templates):
        packet = Ether(template.tobytes())
        assert (packet.src, packet.dst) == (f"02:00:00:00:01:0{host}", f"02:00:00:00:02:0{host}")
        assert (packet[IP].src, packet[IP].dst) == (
            f"198.18.1.{11 + host}",
            f"198.18.2.{11 + host}",
        )
        again = packet.copy()
        del again[IP].chksum
        del again[UDP].chksum
        assert bytes(again) == template.tobytes()


def test_lengths_and_ports_are_those_of_rfc_2544() -> None:
    packet = Ether(build_templates(SWITCHED, SENDER, run_id=7)[0].tobytes())
    assert (packet[IP].len, packet[UDP].len) == (0x6E, 0x5A)
    assert (packet[UDP].sport, packet[UDP].dport) == (0xC020, 7)


def test_a_routed_stream_goes_from_the_port_to_the_device() -> None:
    templates = build_templates(ROUTED, SENDER, run_id=7)
    packet = Ether(templates[11_999].tobytes())
    assert (packet.src, packet.dst) == ("02:10:00:00:00:01", "02:20:00:00:00:01")
    assert packet[IP].dst == "198.19.111.223"


def test_twelve_thousand_destinations_take_less_than_a_second() -> None:
    started = time.monotonic()
    build_templates(ROUTED, SENDER, run_id=7)
    assert time.monotonic() - started < 1


def test_a_frame_too_small_for_its_payload_is_refused() -> None:
    with pytest.raises(PlanError, match="a frame of 63 octets cannot be sent"):
        build_templates(replace(SWITCHED, frame_octets=63), SENDER, run_id=7)


def test_a_capture_opened_in_scapy_shows_our_numbers(tmp_path: Path) -> None:
    frames = number_frames(
        build_templates(SWITCHED, SENDER, run_id=7), first=41, count=2, sent_ns=1_000_000_007
    )
    wrpcap(str(tmp_path / "capture.pcap"), [Ether(frame.tobytes()) for frame in frames])
    payload = rdpcap(str(tmp_path / "capture.pcap"))[1][NumberedPayload]
    assert payload.magic == 0x5155
    assert (payload.run_id, payload.stream, payload.number) == (7, 3, 42)
    assert payload.sent_ns == 1_000_000_007
    assert len(payload.load) == 64
