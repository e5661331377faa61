"""Numbered frames against scapy's own checksums, and against their inverse."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether
from scapy.packet import Raw

from qualify.frames import (
    FrameAddresses,
    Payload,
    address_template,
    number_frames,
    read_numbers,
    stamp_frame,
    stamp_frames,
    write_payload,
)


def one_frame(*, run_id: int = 7, stream: int = 3, fill: bytes = b"") -> NDArray[np.uint8]:
    packet = (
        Ether(dst="02:00:00:00:00:02", src="02:00:00:00:00:01")
        / IP(src="198.18.1.11", dst="198.19.1.11", id=0, flags="DF")
        / UDP(sport=49184, dport=7)
        / Raw(write_payload(Payload(run_id, stream, 0, 0)) + fill)
    )
    return np.frombuffer(bytes(packet), dtype=np.uint8)


def three_destinations(frame: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return address_template(
        frame,
        FrameAddresses(
            target_macs=np.array([[2, 0, 0, 0, 1, n] for n in range(3)], dtype=np.uint8),
            source_macs=np.array([[2, 0, 0, 0, 0, n] for n in range(3)], dtype=np.uint8),
            sources=np.array([0xC6120101, 0xC612FFFF, 0xC6120000], dtype=np.uint32),
            targets=np.array([0xC6130101, 0xC613FFFE, 0xC6134100], dtype=np.uint32),
        ),
    )


def rebuilt(frame: NDArray[np.uint8]) -> bytes:
    """The same frame with checksums computed from scratch by scapy."""
    packet = Ether(frame.tobytes())
    del packet[IP].chksum
    del packet[UDP].chksum
    return bytes(packet)


def test_numbers_follow_one_another_and_visit_the_destinations_round_robin() -> None:
    frames = number_frames(three_destinations(one_frame()), first=4, count=5)
    assert frames.shape == (5, 60)
    assert read_numbers(frames).number.tolist() == [4, 5, 6, 7, 8]
    assert [Ether(frame.tobytes()).dst for frame in frames] == [
        "02:00:00:00:01:01",
        "02:00:00:00:01:02",
        "02:00:00:00:01:00",
        "02:00:00:00:01:01",
        "02:00:00:00:01:02",
    ]
    assert [Ether(frame.tobytes())[IP].dst for frame in frames[:3]] == [
        "198.19.255.254",
        "198.19.65.0",
        "198.19.1.1",
    ]


def test_numbers_beyond_the_field_wrap() -> None:
    frames = number_frames(one_frame()[np.newaxis], first=2**32 - 1, count=3)
    assert read_numbers(frames).number.tolist() == [4294967295, 0, 1]


def test_every_frame_has_its_own_transmit_time() -> None:
    times = np.array([1_700_000_000_000_000_001, 1_700_000_000_000_000_999], dtype=np.int64)
    frames = number_frames(one_frame()[np.newaxis], first=0, count=2, sent_ns=times)
    # 6039 times 2**48 taken off.
    assert read_numbers(frames).sent_ns.tolist() == [
        172_615_644_348_417,
        172_615_644_349_415,
    ]


def test_a_later_stamp_changes_the_time_alone_and_keeps_the_checksum_right() -> None:
    frames = number_frames(three_destinations(one_frame()), first=0, count=3, sent_ns=17)
    stamp_frames(frames[1:2], 2**47 + 5)
    single = bytearray(frames[2].tobytes())
    stamp_frame(single, 2**48 + 18)
    frames[2] = single
    assert read_numbers(frames).sent_ns.tolist() == [17, 140737488355333, 18]
    assert read_numbers(frames).number.tolist() == [0, 1, 2]
    assert [frame.tobytes() for frame in frames] == [rebuilt(frame) for frame in frames]


def test_a_udp_checksum_of_zero_is_written_as_all_ones() -> None:
    """RFC 768: zero would mean that no checksum was computed."""
    frame = one_frame()
    checksum = int.from_bytes(frame[40:42].tobytes(), "big")
    # A low time word equal to the checksum brings the sum of all words to all ones.
    frames = number_frames(frame[np.newaxis], first=0, count=1, sent_ns=checksum)
    assert frames[0, 40:42].tolist() == [0xFF, 0xFF]


@settings(max_examples=60)
@given(
    run_id=st.integers(0, 2**32 - 1),
    stream=st.integers(0, 2**16 - 1),
    first=st.integers(0, 2**33),
    times=st.lists(st.integers(0, 2**63 - 1), min_size=1, max_size=6),
    fill=st.binary(max_size=9),
)
def test_reading_is_the_exact_inverse_and_scapy_agrees_on_every_octet(
    run_id: int, stream: int, first: int, times: list[int], fill: bytes
) -> None:
    template = three_destinations(one_frame(run_id=run_id, stream=stream, fill=fill))
    frames = number_frames(
        template, first=first, count=len(times), sent_ns=np.array(times, dtype=np.int64)
    )
    numbers = read_numbers(frames)
    assert set(numbers.run_id.tolist()) == {run_id}
    assert set(numbers.stream.tolist()) == {stream}
    assert numbers.number.tolist() == [(first + n) % 2**32 for n in range(len(times))]
    assert numbers.sent_ns.tolist() == [time % 2**48 for time in times]
    assert [frame.tobytes() for frame in frames] == [rebuilt(frame) for frame in frames]
