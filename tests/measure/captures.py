"""Captures written out by hand: what left when, what arrived when."""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from qualify.measure.arrivals import ArrivalAnalyser, Arrivals
from qualify.measure.capture import Capture
from qualify.measure.kept_frames import KeptFrames, capture_frames
from qualify.measure.sequence import LossRuns
from qualify.measure.transmission import Transmission, transmit_each

START_NS = 1_700_000_000_000_000_000
DELAY_NS = 40_000


def even_frames(
    *,
    sent: int,
    rate_pps: int = 1_000,
    lost: Iterable[int] = (),
    destinations: int = 1,
    stream: int = 1,
    tester_dropped: int | None = 0,
) -> KeptFrames:
    """A stream that left exactly at its rate and arrived in order but for the lost frames."""
    lost = set(lost)
    received = [number for number in range(sent) if number not in lost]
    sent_ns = START_NS + np.arange(sent, dtype=np.int64) * 1_000_000_000 // rate_pps
    return KeptFrames(
        stream=stream,
        rate_pps=rate_pps,
        destinations=destinations,
        sent_ns=sent_ns,
        received=np.array(received, dtype=np.int64),
        received_ns=sent_ns[received] + DELAY_NS,
        tester_dropped=tester_dropped,
        longest_stall_ns=0,
    )


def timed_frames(
    *,
    sent_at: Sequence[int],
    received: Sequence[int],
    received_at: Sequence[int] | None = None,
    rate_pps: int = 1_000,
    longest_stall_ns: int | None = None,
) -> KeptFrames:
    """A stream whose frames left and arrived at these times, in nanoseconds after the start."""
    sent_ns = START_NS + np.array(sent_at, dtype=np.int64)
    numbers = np.array(received, dtype=np.int64)
    received_ns = (
        sent_ns[numbers] + DELAY_NS
        if received_at is None
        else START_NS + np.array(received_at, dtype=np.int64)
    )
    return KeptFrames(
        stream=1,
        rate_pps=rate_pps,
        destinations=1,
        sent_ns=sent_ns,
        received=numbers,
        received_ns=received_ns,
        tester_dropped=0,
        longest_stall_ns=longest_stall_ns,
    )


def even_capture(
    *,
    sent: int,
    rate_pps: int = 1_000,
    lost: Iterable[int] = (),
    destinations: int = 1,
    stream: int = 1,
    tester_dropped: int | None = 0,
) -> Capture:
    """The capture of ``even_frames``."""
    return capture_frames(
        even_frames(
            sent=sent,
            rate_pps=rate_pps,
            lost=lost,
            destinations=destinations,
            stream=stream,
            tester_dropped=tester_dropped,
        )
    )


def timed_capture(
    *,
    sent_at: Sequence[int],
    received: Sequence[int],
    received_at: Sequence[int] | None = None,
    rate_pps: int = 1_000,
    longest_stall_ns: int | None = None,
) -> Capture:
    """The capture of ``timed_frames``."""
    return capture_frames(
        timed_frames(
            sent_at=sent_at,
            received=received,
            received_at=received_at,
            rate_pps=rate_pps,
            longest_stall_ns=longest_stall_ns,
        )
    )


def sent_at(*times_ns: int) -> Transmission:
    """Frames that left one by one at these times."""
    return transmit_each(numbers(*times_ns))


def arrivals_of(*received: int) -> Arrivals:
    """What arrived in this order; the times mean nothing."""
    analyser = ArrivalAnalyser()
    times_ns = np.arange(len(received), dtype=np.int64)
    analyser.take((numbers(*received) % 2**32).astype(np.uint32), times_ns, times_ns)
    return analyser.finish()


def lost_numbers(capture: Capture) -> list[int]:
    """Every number that never arrived, ascending."""
    lost: list[int] = []
    for first, frames, *_ in capture.arrivals.gaps.tolist():
        lost += range(first, first + frames)
    return [*lost, *range(capture.arrivals.next_expected, capture.transmission.sent_frames)]


def runs_of(*lost: int) -> LossRuns:
    """The loss periods of these lost numbers, found one by one."""
    first = [number for number in lost if number - 1 not in lost]
    last = [number for number in lost if number + 1 not in lost]
    return LossRuns(numbers(*first), numbers(*last), stride=1)


def numbers(*values: int) -> NDArray[np.int64]:
    """Sequence numbers in order of arrival."""
    return np.array(values, dtype=np.int64)
