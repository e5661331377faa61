"""Lengths of RFC 2544 C.2.6.4, and where things stand in every layout."""

import pytest

from qualify.errors import PlanError
from qualify.frames import PLAIN, Layout, Lengths, frame_lengths
from qualify.testbed.testbed import Headers


@pytest.mark.parametrize(
    ("frame_octets", "total", "udp"),
    [(64, 0x002E, 0x001A), (128, 0x006E, 0x005A), (1518, 0x05DC, 0x05C8)],
)
def test_lengths_are_those_printed_in_rfc_2544(frame_octets: int, total: int, udp: int) -> None:
    lengths = frame_lengths(frame_octets)
    assert (lengths.ip, lengths.udp) == (total, udp)


@pytest.mark.parametrize(
    ("frame_octets", "udp"),
    [(256, 0x00DA), (512, 0x01DA), (768, 0x02DA), (1024, 0x03DA), (1280, 0x04DA)],
)
def test_udp_lengths_that_rfc_2544_misprints_follow_the_arithmetic(
    frame_octets: int, udp: int
) -> None:
    assert frame_lengths(frame_octets).udp == udp


def test_four_octets_less_are_built_because_the_port_adds_the_check_sequence() -> None:
    assert frame_lengths(64) == Lengths(built_octets=60, ip=46, udp=26)


@pytest.mark.parametrize(
    ("layout", "lengths"),
    [
        (Layout(Headers.IPV4, (10,)), Lengths(124, 106, 86)),
        (Layout(Headers.IPV4, (200, 10)), Lengths(124, 102, 82)),
        # IPv6 leaves its own 40 octets out of its length (RFC 8200 §3).
        (Layout(Headers.IPV6), Lengths(124, 70, 70)),
        (Layout(Headers.IPV6, (200, 10)), Lengths(124, 62, 62)),
        (Layout(Headers.ETHERNET, (10,)), Lengths(124, None, None)),
    ],
)
def test_tags_and_longer_headers_leave_less_for_udp(layout: Layout, lengths: Lengths) -> None:
    assert frame_lengths(128, layout) == lengths


@pytest.mark.parametrize("frame_octets", [63, 9217])
def test_a_size_that_no_port_carries_is_refused(frame_octets: int) -> None:
    with pytest.raises(PlanError, match=f"a frame of {frame_octets} octets cannot be sent") as e:
        frame_lengths(frame_octets)
    assert e.value.fix.startswith("choose 64 to 9216 octets")


@pytest.mark.parametrize(
    ("headers", "vlans", "smallest"),
    [
        (Headers.ETHERNET, (), 64),
        (Headers.ETHERNET, (200, 10), 64),
        (Headers.IPV4, (), 64),
        (Headers.IPV4, (10,), 68),
        (Headers.IPV4, (200, 10), 72),
        (Headers.IPV6, (), 84),
        (Headers.IPV6, (10,), 88),
        (Headers.IPV6, (200, 10), 92),
    ],
)
def test_a_frame_that_does_not_hold_its_headers_and_payload_is_refused(
    headers: Headers, vlans: tuple[int, ...], smallest: int
) -> None:
    layout = Layout(headers, vlans)
    assert frame_lengths(smallest, layout).built_octets == smallest - 4
    with pytest.raises(PlanError, match=f"a frame of {smallest - 1} octets") as e:
        frame_lengths(smallest - 1, layout)
    assert e.value.fix.startswith(f"choose {smallest} to 9216 octets")


@pytest.mark.parametrize(
    ("headers", "vlans", "payload_at"),
    [
        (Headers.ETHERNET, (), 14),
        (Headers.ETHERNET, (10,), 18),
        (Headers.IPV4, (), 42),
        (Headers.IPV4, (200, 10), 50),
        (Headers.IPV6, (), 62),
        (Headers.IPV6, (200, 10), 70),
    ],
)
def test_tags_and_headers_move_the_payload(
    headers: Headers, vlans: tuple[int, ...], payload_at: int
) -> None:
    assert Layout(headers, vlans).payload_at == payload_at


@pytest.mark.parametrize(
    ("layout", "ether_type"),
    [
        (PLAIN, 0x0800),
        (Layout(Headers.ETHERNET), 0x88B5),
        (Layout(Headers.IPV6, (10,)), 0x8100),
        (Layout(Headers.IPV6, (200, 10)), 0x88A8),
    ],
)
def test_the_type_behind_the_mac_addresses_is_that_of_the_outer_tag(
    layout: Layout, ether_type: int
) -> None:
    """IEEE 802.1Q: 0x8100 for a single tag, 0x88a8 for the service tag around another."""
    assert layout.ether_type == ether_type


def test_a_received_frame_has_lost_its_outer_tag() -> None:
    assert Layout(Headers.IPV6, (200, 10)).received == Layout(Headers.IPV6, (10,))
    assert Layout(Headers.IPV6, (10,)).received == Layout(Headers.IPV6)
    assert PLAIN.received == PLAIN
