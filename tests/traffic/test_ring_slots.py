"""Slots hold the very frames that numbering builds one by one, and sendmmsg can send them."""

import ctypes
import socket
import time
from dataclasses import replace

import numpy as np
import pytest

from qualify.frames import Layout, Templates, number_frames
from qualify.testbed.testbed import Headers
from qualify.traffic.backend import PortAccess
from qualify.traffic.ring_slots import LARGEST_BATCH, FrameSlots
from qualify.traffic.templates import build_templates
from tests.traffic.live_bridge import stream

SENDER = PortAccess("p1", "02:10:00:00:00:01", "02:20:00:00:00:01", None)
PLAIN = build_templates(stream(3, "p1", "p2"), SENDER, run_id=7)
SENT_NS = 1_700_000_000_123_456_789


def templates(layout: Layout, *sizes: int) -> Templates:
    wanted = replace(stream(3, "p1", "p2", frame_octets=sizes[0], layout=layout), mix=sizes)
    return build_templates(wanted, SENDER, run_id=7)


def sent_by(slots: FrameSlots, first: int, count: int) -> list[bytes]:
    """Let the kernel's sendmmsg read the messages, and return the octets that it sent."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
    with ours, theirs:
        received = []
        for number in range(first, first + count):
            taken = ctypes.CDLL(None).sendmmsg(
                ours.fileno(), ctypes.c_void_p(slots.address(number)), 1, 0
            )
            assert taken == 1
            received.append(theirs.recv(10_000))
    return received


def expected(made: Templates, first: int, count: int, step_ns: int) -> list[bytes]:
    times = SENT_NS + np.arange(count) * step_ns
    heads = number_frames(made, first=first, count=count, sent_ns=times)
    return [
        head.tobytes() + made.fill_behind(first + at).tobytes() for at, head in enumerate(heads)
    ]


@pytest.mark.parametrize(
    "layout",
    [
        Layout(Headers.ETHERNET, ()),
        Layout(Headers.IPV4, ()),
        Layout(Headers.IPV6, (9,)),
        Layout(Headers.IPV4, (9, 10)),
    ],
)
@pytest.mark.parametrize("count", [1, 3, 50])
def test_slots_hold_complete_frames_of_every_layout_and_size(layout: Layout, count: int) -> None:
    made = templates(layout, 128, 512, 9_000, 128)
    slots = FrameSlots(made)
    assert slots.stamp(0, count, sent_ns=SENT_NS, step_ns=300) == count
    assert sent_by(slots, 0, count) == expected(made, 0, count, 300)


def test_batches_of_any_length_follow_one_another_through_all_slots() -> None:
    slots = FrameSlots(PLAIN)
    first = 0
    for wanted in (1, 2, 5, 77, 1, 256, 256, 3, 256, 256, 4, 256, 256):
        ready = slots.stamp(first, wanted, sent_ns=SENT_NS, step_ns=1_000)
        assert 1 <= ready <= min(wanted, LARGEST_BATCH)
        assert sent_by(slots, first, ready) == expected(PLAIN, first, ready, 1_000)
        first += ready
    assert first > 1_000


def test_a_frame_that_was_refused_is_stamped_again_with_its_number() -> None:
    slots = FrameSlots(PLAIN)
    slots.stamp(0, 10, sent_ns=SENT_NS - 5_000_000, step_ns=70)
    slots.stamp(4, 6, sent_ns=SENT_NS, step_ns=80)
    assert sent_by(slots, 4, 6) == expected(PLAIN, 4, 6, 80)


@pytest.mark.parametrize("step", [1, 40])
def test_numbers_start_again_at_zero_after_two_to_the_power_of_32(step: int) -> None:
    slots = FrameSlots(PLAIN)
    first = (1 << 32) - 60
    while first < (1 << 32) + 60:
        ready = slots.stamp(first, step, sent_ns=SENT_NS, step_ns=10)
        assert sent_by(slots, first, ready) == expected(PLAIN, first, ready, 10)
        first += ready


@pytest.mark.parametrize("count", [2, 100])
def test_the_transmit_time_starts_again_after_78_hours(count: int) -> None:
    """The field has 48 bits; in the batch that would run over it time stands still."""
    slots = FrameSlots(PLAIN)
    slots.stamp(0, count, sent_ns=(1 << 48) - 1, step_ns=1_000)
    stamps = [int.from_bytes(frame[54:60]) for frame in sent_by(slots, 0, count)]
    assert stamps[0] == (1 << 48) - 1 - count * 1_000
    assert stamps[-1] == (1 << 48) - 1 - 1_000
    slots.stamp(count, 1, sent_ns=(1 << 48) + 5, step_ns=1_000)
    assert int.from_bytes(sent_by(slots, count, 1)[0][54:60]) == 5


def test_a_checksum_of_zero_is_written_as_all_ones() -> None:
    """RFC 768: zero means that there is none."""
    slots = FrameSlots(PLAIN)
    for sent_ns in range(0, 65_536, 4):
        for count in (1, 5):
            slots.stamp(0, count, sent_ns=sent_ns, step_ns=1)
            assert slots._checksum is not None
            assert (slots._checksum[:count] != 0).all()


def test_twelve_thousand_destinations_are_ready_in_less_than_a_second() -> None:
    made = replace(PLAIN, heads=np.repeat(PLAIN.heads, 4_000, axis=1))
    started = time.monotonic()
    slots = FrameSlots(made)
    assert slots.stamp(0, LARGEST_BATCH, sent_ns=SENT_NS, step_ns=1) > 200
    assert time.monotonic() - started < 1
