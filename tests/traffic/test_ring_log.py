"""A log of batches gives back what was noted, however much it was."""

import numpy as np

from qualify.traffic.ring_log import BatchLog


def read(log: BatchLog) -> tuple[list[int], list[int]]:
    pieces = list(log.read())
    log.close()
    firsts = [piece[0] for piece in pieces] or [np.empty(0, np.int64)]
    times = [piece[1] for piece in pieces] or [np.empty(0, np.int64)]
    return np.concatenate(firsts).tolist(), np.concatenate(times).tolist()


def test_nothing_noted_is_nothing_read() -> None:
    assert read(BatchLog()) == ([], [])


def test_batches_come_back_in_order() -> None:
    log = BatchLog()
    for first in range(20_000):
        log.note(3 * first, 1_000 + first)
    assert read(log) == (list(range(0, 60_000, 3)), list(range(1_000, 21_000)))


def test_a_long_call_is_noted_in_parts_with_the_times_between() -> None:
    log = BatchLog()
    log.note_evenly(100, 20, sent_ns=5_000, step_ns=10, each=8)
    assert read(log) == ([100, 108, 116], [5_000, 5_080, 5_160])
