"""From every frame of a stream, kept one by one, to its capture."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.errors import MeasurementError
from qualify.measure.arrivals import ArrivalAnalyser
from qualify.measure.capture import Capture, Doubt
from qualify.measure.runs import WIRE_NUMBERS
from qualify.measure.transmission import transmit_each


@dataclass(frozen=True, slots=True)
class KeptFrames:
    """Every frame of one stream, for backends that are slow enough to keep them all.

    Attributes:
        stream: as in Capture, and so are all that are not named here.
        rate_pps: intended load.
        destinations: destinations visited round robin.
        sent_ns: when each frame left, shape (sent,).
        received: numbers in order of arrival, shape (arrived,); repeats are kept.
        received_ns: when each of them arrived, shape (arrived,).
        tester_dropped: frames that the tester itself lost.
        longest_stall_ns: longest time by which a frame left late.
        doubts: what the tester did, one by one.
    """

    stream: int
    rate_pps: int
    destinations: int
    sent_ns: NDArray[np.int64]
    received: NDArray[np.int64]
    received_ns: NDArray[np.int64]
    tester_dropped: int | None
    longest_stall_ns: int | None
    doubts: tuple[Doubt, ...] = ()


def capture_frames(frames: KeptFrames) -> Capture:
    """Analyse the frames of a stream as if they arrived now.

    Raises:
        MeasurementError: an arrival has no time.
    """
    received, received_ns = frames.received, frames.received_ns
    if received.shape != received_ns.shape:
        raise MeasurementError(
            f"stream {frames.stream} has {received.size} arrivals, "
            f"but {received_ns.size} arrival times",
            fix="mend the traffic backend: every arrival needs its time",
        )
    transmission = transmit_each(frames.sent_ns)
    sent_ns = received_ns
    if transmission.sent_frames:
        # A number that was never sent has no time; measuring will refuse it.
        sent_ns = transmission.time_of(np.clip(received, 0, transmission.sent_frames - 1))
    analyser = ArrivalAnalyser()
    analyser.take((received % WIRE_NUMBERS).astype(np.uint32), sent_ns, received_ns)
    return Capture(
        stream=frames.stream,
        rate_pps=frames.rate_pps,
        destinations=frames.destinations,
        transmission=transmission,
        arrivals=analyser.finish(),
        tester_dropped=frames.tester_dropped,
        longest_stall_ns=frames.longest_stall_ns,
        doubts=frames.doubts,
    )
