"""Messages survive the pipe, and half a message is no message."""

import io

import numpy as np
import pytest

from qualify.traffic.scapy_messages import (
    Done,
    Failed,
    Message,
    Received,
    ReceiveProgress,
    SendJob,
    read_message,
    write_message,
)


@pytest.mark.parametrize(
    "message",
    [
        Done(),
        Failed("it is broken", "mend it"),
        SendJob(
            ("p1", "p2"),
            ("/run/netns/p1", None),
            (0, 1),
            (500, 500),
            ("ipv4", "ipv6"),
            ((), (200, 10)),
            ((64, 1518), (84,)),
        ),
        ReceiveProgress((3, 4), (None, 17), (18, None)),
        Received((0, 1), (None, 2), (3, 4), None, 5, 6),
    ],
)
def test_a_message_is_read_as_it_was_written(message: Message) -> None:
    pipe = io.BytesIO()
    write_message(pipe, message)
    pipe.seek(0)
    assert read_message(pipe) == (message, ())
    assert read_message(pipe) is None


def test_arrays_follow_their_message_and_the_next_message_follows_them() -> None:
    pipe = io.BytesIO()
    write_message(
        pipe, Done(), [np.array([[1, 2]], dtype=np.uint8), np.array([1 << 62], dtype=np.int64)]
    )
    write_message(pipe, Failed("a", "b"))
    pipe.seek(0)
    said = read_message(pipe)
    assert said is not None
    assert [array.tolist() for array in said[1]] == [[[1, 2]], [4_611_686_018_427_387_904]]
    assert read_message(pipe) == (Failed("a", "b"), ())


def test_a_message_cut_short_is_the_end() -> None:
    pipe = io.BytesIO()
    write_message(pipe, Done(), [np.arange(9, dtype=np.int64)])
    octets = pipe.getvalue()
    assert read_message(io.BytesIO(octets[:-1])) is None
    assert read_message(io.BytesIO(octets[:10])) is None
