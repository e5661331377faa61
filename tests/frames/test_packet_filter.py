"""The filter program, run by the kernel itself on a pair of local sockets.

Local sockets have no VLAN tag beside the frame; tests/traffic/test_layouts_live.py has.
"""

import ctypes
import socket
from collections.abc import Iterator

import pytest

from qualify.frames import (
    PLAIN,
    Layout,
    Payload,
    foreign_frame_filter,
    our_frame_filter,
    pack_filter,
    write_payload,
)
from qualify.frames.packet_filter import Instruction
from qualify.testbed.testbed import Headers
from tests.frames.layouts import LAYOUTS, one_frame

SO_ATTACH_FILTER = 26
PAYLOAD = write_payload(Payload(run_id=7, stream=3, number=9, sent_ns=11))
OURS = (
    bytes.fromhex(
        "020000000002 020000000001 0800 45000034 00004000 40110000 c612010b c613010b"
        "c020 0007 001a 0000"
    )
    + PAYLOAD
)
OURS_IPV6 = (
    bytes.fromhex("020000000002 020000000001 86dd 60000000001a1140")
    + bytes(range(32))
    + bytes.fromhex("c020 0007 001a 1234")
    + PAYLOAD
)
OURS_ETHERNET = bytes.fromhex("020000000002 020000000001 88b5") + PAYLOAD
IPV6 = Layout(Headers.IPV6)
ETHERNET = Layout(Headers.ETHERNET)
Pair = tuple[socket.socket, socket.socket]


@pytest.fixture
def pair() -> Iterator[Pair]:
    left, right = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    right.settimeout(0)
    with left, right:
        yield left, right


def passes(pair: Pair, program: tuple[Instruction, ...], frame: bytes) -> bytes | None:
    code = ctypes.create_string_buffer(pack_filter(program))
    left, right = pair
    fprog = len(program).to_bytes(8, "little") + ctypes.addressof(code).to_bytes(8, "little")
    right.setsockopt(socket.SOL_SOCKET, SO_ATTACH_FILTER, fprog)
    left.send(frame)
    try:
        return right.recv(9000)
    except BlockingIOError:
        return None


def changed(frame: bytes, at: int, octets: str) -> bytes:
    new = bytes.fromhex(octets)
    return frame[:at] + new + frame[at + len(new) :]


@pytest.mark.parametrize(
    ("layout", "frame"), [(PLAIN, OURS), (IPV6, OURS_IPV6), (ETHERNET, OURS_ETHERNET)]
)
def test_a_frame_of_our_run_passes_cut_to_headers_and_payload(
    pair: Pair, layout: Layout, frame: bytes
) -> None:
    assert passes(pair, our_frame_filter(7, [layout]), frame + b"fill" * 9) == frame


def test_ipv4_without_tags_is_what_is_expected_by_default(pair: Pair) -> None:
    assert passes(pair, our_frame_filter(7), OURS) == OURS
    assert passes(pair, our_frame_filter(7), OURS_IPV6) is None


def test_more_can_be_kept(pair: Pair) -> None:
    program = our_frame_filter(7, [PLAIN], keep_octets=62)
    assert passes(pair, program, OURS + b"fill") == OURS + b"fi"


def test_several_layouts_can_be_expected_at_once(pair: Pair) -> None:
    program = our_frame_filter(7, [ETHERNET, PLAIN, IPV6, PLAIN])
    for frame in (OURS, OURS_IPV6, OURS_ETHERNET):
        assert passes(pair, program, frame) == frame
    assert passes(pair, program, changed(OURS_IPV6, 64, "00000008")) is None
    # As much as the longest of them needs is kept of each.
    assert passes(pair, program, OURS + bytes(40)) == OURS + bytes(20)


@pytest.mark.parametrize(
    ("name", "frame"),
    [
        ("another run id", changed(OURS, 44, "00000008")),
        ("another magic number", changed(OURS, 42, "5156")),
        ("another source port", changed(OURS, 34, "c021")),
        ("another destination port", changed(OURS, 36, "0008")),
        ("TCP", changed(OURS, 23, "06")),
        ("IPv4 options", changed(OURS, 14, "46")),
        ("a first fragment", changed(OURS, 20, "2000")),
        ("a later fragment", changed(OURS, 20, "0001")),
        ("IPv6", changed(OURS, 12, "86dd")),
        ("a tag", OURS[:12] + bytes.fromhex("8100000a") + OURS[12:]),
        ("too short", OURS[:46]),
    ],
)
def test_what_is_not_ours_does_not_pass(pair: Pair, name: str, frame: bytes) -> None:
    assert passes(pair, our_frame_filter(7, [PLAIN]), frame) is None, name


@pytest.mark.parametrize(
    ("name", "layout", "frame"),
    [
        ("another run id", IPV6, changed(OURS_IPV6, 64, "00000008")),
        ("TCP over IPv6", IPV6, changed(OURS_IPV6, 20, "06")),
        ("an extension header", IPV6, changed(OURS_IPV6, 20, "00")),
        ("another port over IPv6", IPV6, changed(OURS_IPV6, 56, "0008")),
        ("IPv4", IPV6, OURS),
        ("another run id", ETHERNET, changed(OURS_ETHERNET, 16, "00000008")),
        ("another EtherType", ETHERNET, changed(OURS_ETHERNET, 12, "88b6")),
        ("another magic number", ETHERNET, changed(OURS_ETHERNET, 14, "5156")),
        ("without its tag", Layout(Headers.ETHERNET, (10,)), OURS_ETHERNET),
    ],
)
def test_what_is_not_ours_does_not_pass_in_other_layouts(
    pair: Pair, name: str, layout: Layout, frame: bytes
) -> None:
    assert passes(pair, our_frame_filter(7, [layout]), frame) is None, name


def test_the_highest_run_id_works(pair: Pair) -> None:
    frame = changed(OURS, 44, "ffffffff")
    assert passes(pair, our_frame_filter(0xFFFFFFFF, [PLAIN]), frame) == frame


def test_frames_of_every_run_can_be_asked_for(pair: Pair) -> None:
    program = our_frame_filter(None, [PLAIN])
    other_run = changed(OURS, 44, "00000008")
    assert passes(pair, program, OURS) == OURS
    assert passes(pair, program, other_run) == other_run
    assert passes(pair, program, changed(OURS, 42, "5156")) is None


def test_the_foreign_filter_accepts_other_runs_only(pair: Pair) -> None:
    assert passes(pair, foreign_frame_filter(7), OURS) is None
    assert passes(pair, foreign_frame_filter(8), OURS) == OURS
    assert passes(pair, foreign_frame_filter(8), changed(OURS, 42, "5156")) is None


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_the_foreign_filter_knows_every_layout(pair: Pair, layout: Layout) -> None:
    seen = one_frame(layout.received, run_id=7).tobytes()
    assert passes(pair, foreign_frame_filter(8), seen) == seen
    assert passes(pair, foreign_frame_filter(7), seen) is None


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_a_filter_for_one_layout_keeps_no_more_than_the_smallest_frame_has(layout: Layout) -> None:
    kept = our_frame_filter(7, [layout])[-2].value
    assert kept == layout.received.payload_end
    assert kept <= layout.smallest_frame_octets - 4 - 4 * bool(layout.vlans)
