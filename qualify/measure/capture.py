"""What a traffic backend hands over for one stream: numbers and times, no packets."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Capture:
    """What was sent and what arrived, for one stream.

    Attributes:
        stream: the number of the stream, as in the plan and in every frame.
        rate_pps: intended load.
        destinations: destinations visited round robin; number n went to ``n % destinations``.
        sent_ns: time at which each frame was handed to the port, shape (sent,), CLOCK_REALTIME.
        received: sequence numbers in order of arrival, shape (arrived,); repeats are kept.
        received_ns: arrival times, shape (arrived,), same clock.
        tester_dropped: frames that the tester itself lost on the way to or from the wire, as far
            as they can touch this stream; ``None`` when the backend cannot count them.
        longest_stall_ns: longest time by which a frame left late; ``None`` when not known.
    """

    stream: int
    rate_pps: int
    destinations: int
    sent_ns: NDArray[np.int64]
    received: NDArray[np.int64]
    received_ns: NDArray[np.int64]
    tester_dropped: int | None
    longest_stall_ns: int | None
