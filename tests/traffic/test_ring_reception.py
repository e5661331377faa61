"""Which record counts for which stream."""

import numpy as np

from qualify.measure.arrivals import ArrivalAnalyser
from qualify.traffic.ring_reader import Records
from qualify.traffic.ring_reception import PortReception

RUN_ID = 7


def take(*frames: tuple[int, int, int]) -> tuple[PortReception, dict[int, ArrivalAnalyser]]:
    """Take one block of frames (run id, stream, number), a microsecond apart from 1000 ns on."""
    analysers = {3: ArrivalAnalyser(), 5: ArrivalAnalyser()}
    reception = PortReception(analysers, run_id=RUN_ID)
    run_id, stream, number = np.array(frames, dtype=np.int64).reshape(-1, 3).T
    received_ns = 1_000 * np.arange(1, len(frames) + 1)
    reception.take(
        Records(
            run_id.astype(np.uint32),
            stream.astype(np.uint16),
            number.astype(np.uint32),
            received_ns - 100,
            received_ns,
        )
    )
    return reception, analysers


def received(analysers: dict[int, ArrivalAnalyser]) -> list[int]:
    return [analyser.finish().received for analyser in analysers.values()]


def test_streams_are_told_apart_and_keep_their_order() -> None:
    reception, analysers = take((7, 3, 0), (7, 5, 0), (7, 3, 2), (7, 5, 1), (7, 3, 1))
    assert received(analysers) == [3, 2]
    assert analysers[3].finish().reordered == 1
    assert analysers[5].finish().reordered == 0
    assert reception.arrived == 5


def test_a_frame_of_no_stream_that_ends_here_is_misdelivered() -> None:
    """RFC 2285 §3.8.3 (O-L2-02)."""
    reception, analysers = take((7, 4, 0), (7, 3, 0), (7, 4, 1))
    assert reception.misdelivered == 2
    assert received(analysers) == [1, 0]
    reception, _ = take((7, 4, 0), (7, 4, 1))
    assert reception.misdelivered == 2


def test_frames_of_another_run_are_counted_and_nothing_else() -> None:
    reception, analysers = take((8, 3, 0), (7, 3, 0), (9, 5, 0))
    assert (reception.foreign, reception.arrived, reception.misdelivered) == (2, 1, 0)
    assert received(analysers) == [1, 0]


def test_a_block_of_strangers_only_is_no_arrival() -> None:
    reception, analysers = take((8, 3, 0), (8, 3, 1))
    assert (reception.foreign, reception.arrived) == (2, 0)
    assert received(analysers) == [0, 0]
