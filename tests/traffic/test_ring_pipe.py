"""What is written into a pipe is read from it."""

import io

import numpy as np
import pytest

from qualify.traffic.ring_messages import (
    Collect,
    Job,
    Message,
    PortJob,
    Progress,
    ReceivedStream,
    ReceiveJob,
    SendJob,
)
from qualify.traffic.ring_pipe import read_message, write_message

JOB = Job(
    processor=1,
    run_id=0xFFFFFFFF,
    ring_octets=1 << 20,
    naps=True,
    ports=(PortJob(0, "p1", "02:10:00:00:00:01", "/run/netns/p1"), PortJob(1, "p2", "", None)),
    senders=(SendJob(0, 0, 1_000, 5, "ipv4", (7, 8), (64, 128)),),
    receivers=(ReceiveJob(0, 1, 3, "ipv4", (7, 8)),),
)


@pytest.mark.parametrize(
    "message",
    [
        JOB,
        Collect(),
        Progress((1, 2), (3,), (None,), (4,)),
        ReceivedStream(4, (1, None, 3)),
    ],
)
def test_a_message_comes_back_as_it_was(message: Message) -> None:
    pipe = io.BytesIO()
    write_message(pipe, message)
    pipe.seek(0)
    assert read_message(pipe) == (message, ())


def test_arrays_follow_their_message() -> None:
    pipe = io.BytesIO()
    heads, fill = np.arange(12, dtype=np.uint8).reshape(3, 4), np.empty(0, dtype=np.uint8)
    write_message(pipe, JOB, [heads, fill])
    write_message(pipe, Collect())
    pipe.seek(0)
    said = read_message(pipe)
    assert said is not None
    assert [array.tolist() for array in said[1]] == [heads.tolist(), []]
    assert read_message(pipe) == (Collect(), ())


@pytest.mark.parametrize("left_out", [1, 40, 300])
def test_a_message_that_breaks_off_is_none(left_out: int) -> None:
    pipe = io.BytesIO()
    write_message(pipe, JOB, [np.arange(20, dtype=np.int64)])
    assert read_message(io.BytesIO(pipe.getvalue()[:-left_out])) is None
