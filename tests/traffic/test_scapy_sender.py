"""What becomes of a number when the port takes, refuses or cannot deliver its frame."""

import errno
import time

import numpy as np

from qualify.frames import PLAIN, Payload, Templates, read_payload
from qualify.traffic.scapy_sender import SendingStream


class ScriptedPort:
    """A port that takes or refuses frames, and has a link or none, as the test says."""

    def __init__(self) -> None:
        self.frames: list[bytes] = []
        self.refusing = False
        self.link = True

    def send(self, frame: bytes) -> None:
        """Take the frame, or say that there is no room."""
        if self.refusing:
            raise OSError(errno.ENOBUFS, "no room")
        self.frames.append(frame)

    def link_is_lost(self) -> bool:
        """Tell about the link."""
        return not self.link


def sending_stream(port: ScriptedPort) -> SendingStream:
    heads = np.zeros((2, 2, 60), dtype=np.uint8)
    fill = np.arange(4, dtype=np.uint8)
    return SendingStream(Templates(PLAIN, (64, 68), heads, fill), port)


def numbers(port: ScriptedPort) -> list[int]:
    payloads = [read_payload(b"\x51\x55" + frame[44:60]) for frame in port.frames]
    return [payload.number for payload in payloads if isinstance(payload, Payload)]


def test_numbers_follow_one_another_past_what_is_numbered_ahead() -> None:
    port = ScriptedPort()
    stream = sending_stream(port)
    for _ in range(300):
        stream.send(due_ns=time.monotonic_ns())
    assert numbers(port) == list(range(300))
    assert len(stream.sent_ns) == 300
    assert stream.refused == 0


def test_frames_are_filled_up_to_their_size() -> None:
    port = ScriptedPort()
    stream = sending_stream(port)
    for _ in range(3):
        stream.send(due_ns=time.monotonic_ns())
    assert [frame[60:] for frame in port.frames] == [b"", bytes([0, 1, 2, 3]), b""]


def test_a_frame_carries_the_time_that_is_kept_of_it() -> None:
    port = ScriptedPort()
    stream = sending_stream(port)
    stream.send(due_ns=time.monotonic_ns())
    sent = int.from_bytes(port.frames[0][54:60])
    assert sent == stream.sent_ns[0] % (1 << 48)


def test_a_refused_frame_does_not_use_up_its_number() -> None:
    port = ScriptedPort()
    stream = sending_stream(port)
    stream.send(due_ns=time.monotonic_ns())
    port.refusing = True
    for _ in range(3):
        stream.send(due_ns=time.monotonic_ns())
    port.refusing = False
    stream.send(due_ns=time.monotonic_ns())
    assert numbers(port) == [0, 1]
    assert (len(stream.sent_ns), stream.refused, stream.without_link) == (2, 3, 0)


def test_a_frame_that_finds_no_link_is_sent_and_lost() -> None:
    port = ScriptedPort()
    stream = sending_stream(port)
    port.link, port.refusing = False, True
    stream.send(due_ns=time.monotonic_ns())
    port.refusing = False
    stream.send(due_ns=time.monotonic_ns())
    port.link = True
    stream.send(due_ns=time.monotonic_ns())
    assert numbers(port) == [1, 2]
    assert (len(stream.sent_ns), stream.refused, stream.without_link) == (3, 0, 2)


def test_the_latest_departure_is_kept() -> None:
    stream = sending_stream(ScriptedPort())
    stream.send(due_ns=time.monotonic_ns() - 7_000_000)
    stream.send(due_ns=time.monotonic_ns())
    assert 7_000_000 <= stream.latest_ns < 1_000_000_000
