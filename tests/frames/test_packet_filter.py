"""The filter program, run by the kernel itself on a pair of local sockets."""

import ctypes
import socket
from collections.abc import Iterator

import pytest

from qualify.frames import Payload, foreign_frame_filter, pack_filter, write_payload
from qualify.frames.packet_filter import Instruction, our_frame_filter

SO_ATTACH_FILTER = 26
OURS = bytes.fromhex(
    "020000000002 020000000001 080045000034 00004000 40110000 c612010b c613010bc020 0007 001a 0000"
) + write_payload(Payload(run_id=7, stream=3, number=9, sent_ns=11))


@pytest.fixture
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    left, right = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    right.settimeout(0)
    with left, right:
        yield left, right


def passes(
    pair: tuple[socket.socket, socket.socket], program: tuple[Instruction, ...], frame: bytes
) -> bytes | None:
    code = ctypes.create_string_buffer(pack_filter(program))
    left, right = pair
    fprog = len(program).to_bytes(8, "little") + ctypes.addressof(code).to_bytes(8, "little")
    right.setsockopt(socket.SOL_SOCKET, SO_ATTACH_FILTER, fprog)
    left.send(frame)
    try:
        return right.recv(9000)
    except BlockingIOError:
        return None


def changed(at: int, octets: str) -> bytes:
    new = bytes.fromhex(octets)
    return OURS[:at] + new + OURS[at + len(new) :]


def test_a_frame_of_our_run_passes_cut_to_headers_and_payload(
    pair: tuple[socket.socket, socket.socket],
) -> None:
    assert passes(pair, our_frame_filter(7), OURS + b"fill" * 9) == OURS


def test_more_can_be_kept(pair: tuple[socket.socket, socket.socket]) -> None:
    assert passes(pair, our_frame_filter(7, keep_octets=62), OURS + b"fill") == OURS + b"fi"


@pytest.mark.parametrize(
    ("name", "frame"),
    [
        ("another run id", changed(44, "00000008")),
        ("another magic number", changed(42, "5156")),
        ("another source port", changed(34, "c021")),
        ("another destination port", changed(36, "0008")),
        ("TCP", changed(23, "06")),
        ("IPv4 options", changed(14, "46")),
        ("a first fragment", changed(20, "2000")),
        ("a later fragment", changed(20, "0001")),
        ("IPv6", changed(12, "86dd")),
        ("too short", OURS[:46]),
    ],
)
def test_what_is_not_ours_does_not_pass(
    pair: tuple[socket.socket, socket.socket], name: str, frame: bytes
) -> None:
    assert passes(pair, our_frame_filter(7), frame) is None, name


def test_the_highest_run_id_works(pair: tuple[socket.socket, socket.socket]) -> None:
    frame = changed(44, "ffffffff")
    assert passes(pair, our_frame_filter(0xFFFFFFFF), frame) == frame


def test_the_foreign_filter_accepts_other_runs_only(
    pair: tuple[socket.socket, socket.socket],
) -> None:
    assert passes(pair, foreign_frame_filter(7), OURS) is None
    assert passes(pair, foreign_frame_filter(8), OURS) == OURS
    assert passes(pair, foreign_frame_filter(8), changed(42, "5156")) is None
