"""Numbered frames of every layout against scapy's own checksums, and against their inverse."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scapy.layers.inet import IP, UDP
from scapy.layers.inet6 import IPv6
from scapy.layers.l2 import Ether

from qualify.frames import PLAIN, Layout, number_frames, read_numbers, stamp_frame, stamp_frames
from qualify.testbed.testbed import Headers
from tests.frames.layouts import LAYOUTS, rebuilt, templates, whole

every_layout = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)


@every_layout
def test_numbers_follow_one_another_and_visit_the_destinations_round_robin(layout: Layout) -> None:
    heads = number_frames(templates(layout), first=4, count=5)
    assert heads.shape == (5, layout.payload_end)
    assert read_numbers(heads, layout).number.tolist() == [4, 5, 6, 7, 8]
    assert [Ether(head.tobytes()).dst for head in heads] == [
        "02:00:00:00:01:01",
        "02:00:00:00:01:02",
        "02:00:00:00:01:00",
        "02:00:00:00:01:01",
        "02:00:00:00:01:02",
    ]


def test_ipv4_addresses_are_those_of_the_destination() -> None:
    heads = number_frames(templates(PLAIN), first=4, count=3)
    assert [Ether(head.tobytes())[IP].dst for head in heads] == [
        "198.19.255.254",
        "198.19.65.0",
        "198.19.1.1",
    ]


def test_ipv6_addresses_are_those_of_the_destination() -> None:
    heads = number_frames(templates(Layout(Headers.IPV6, (10,))), first=3, count=3)
    packets = [Ether(head.tobytes())[IPv6] for head in heads]
    assert [packet.src for packet in packets] == [
        "2001:2:0:1::10",
        "2001:2:ffff:ffff:ffff:ffff:ffff:ffff",
        "2001:2::",
    ]
    assert [packet.dst for packet in packets] == [
        "2001:2:0:8001::10",
        "2001:2:0:ffff:ffff:ffff:ffff:ffff",
        "2001:2:0:8000::",
    ]


@every_layout
def test_sizes_and_destinations_follow_cycles_of_their_own(layout: Layout) -> None:
    mixed = templates(layout, fills=(0, 5, 0, 20))
    heads = number_frames(mixed, first=0, count=12)
    frames = [whole(mixed, head, number) for number, head in enumerate(heads)]
    shortest = layout.payload_end
    assert [len(frame) for frame in frames] == [
        shortest + fill for fill in (0, 5, 0, 20, 0, 5, 0, 20, 0, 5, 0, 20)
    ]
    assert [frame[5] for frame in frames] == [0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1, 2]
    assert frames == [rebuilt(frame) for frame in frames]


def test_numbers_beyond_the_field_wrap() -> None:
    frames = number_frames(templates(PLAIN), first=2**32 - 1, count=3)
    assert read_numbers(frames, PLAIN).number.tolist() == [4294967295, 0, 1]


def test_every_frame_has_its_own_transmit_time() -> None:
    times = np.array([1_700_000_000_000_000_001, 1_700_000_000_000_000_999], dtype=np.int64)
    frames = number_frames(templates(PLAIN), first=0, count=2, sent_ns=times)
    # 6039 times 2**48 taken off.
    assert read_numbers(frames, PLAIN).sent_ns.tolist() == [
        172_615_644_348_417,
        172_615_644_349_415,
    ]


@every_layout
def test_a_later_stamp_changes_the_time_alone_and_keeps_the_checksum_right(
    layout: Layout,
) -> None:
    frames = number_frames(templates(layout), first=0, count=3, sent_ns=17)
    stamp_frames(frames[1:2], 2**47 + 5, layout)
    single = bytearray(frames[2].tobytes())
    stamp_frame(single, 2**48 + 18, layout)
    frames[2] = single
    assert read_numbers(frames, layout).sent_ns.tolist() == [17, 140737488355333, 18]
    assert read_numbers(frames, layout).number.tolist() == [0, 1, 2]
    assert [frame.tobytes() for frame in frames] == [rebuilt(frame.tobytes()) for frame in frames]


@pytest.mark.parametrize("layout", [PLAIN, Layout(Headers.IPV6, (200, 10))])
def test_a_udp_checksum_of_zero_is_written_as_all_ones(layout: Layout) -> None:
    """RFC 768: zero would mean that no checksum was computed; RFC 8200 §8.1: IPv6 discards it."""
    head = number_frames(templates(layout), first=0, count=1)
    at = layout.payload_at - 2
    checksum = int.from_bytes(head[0, at : at + 2].tobytes())
    # A low time word equal to the checksum brings the sum of all words to all ones.
    stamp_frames(head, checksum, layout)
    assert head[0, at : at + 2].tolist() == [0xFF, 0xFF]


def test_frames_without_udp_have_no_checksum_and_only_their_numbers_change() -> None:
    layout = Layout(Headers.ETHERNET)
    first, second = number_frames(templates(layout), first=0, count=2, sent_ns=7)
    differing = np.flatnonzero(first != second).tolist()
    assert differing == [5, 11, 25]  # target and source MAC address, number


@settings(max_examples=120)
@given(
    layout=st.sampled_from(list(LAYOUTS.values())),
    run_id=st.integers(0, 2**32 - 1),
    stream=st.integers(0, 2**16 - 1),
    first=st.integers(0, 2**33),
    times=st.lists(st.integers(0, 2**63 - 1), min_size=1, max_size=6),
    fills=st.lists(st.integers(0, 9), min_size=1, max_size=3),
)
def test_reading_is_the_exact_inverse_and_scapy_agrees_on_every_octet(
    layout: Layout, run_id: int, stream: int, first: int, times: list[int], fills: list[int]
) -> None:
    mixed = templates(layout, run_id=run_id, stream=stream, fills=tuple(fills))
    heads = number_frames(
        mixed, first=first, count=len(times), sent_ns=np.array(times, dtype=np.int64)
    )
    numbers = read_numbers(heads, layout)
    assert set(numbers.run_id.tolist()) == {run_id}
    assert set(numbers.stream.tolist()) == {stream}
    assert numbers.number.tolist() == [(first + n) % 2**32 for n in range(len(times))]
    assert numbers.sent_ns.tolist() == [time % 2**48 for time in times]
    frames = [whole(mixed, head, first + n) for n, head in enumerate(heads)]
    assert frames == [rebuilt(frame) for frame in frames]
    if layout.has_udp:
        assert all(Ether(frame)[UDP].chksum for frame in frames)
