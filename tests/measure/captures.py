"""Captures written out by hand: what left when, what arrived when."""

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from qualify.measure.capture import Capture

START_NS = 1_700_000_000_000_000_000
DELAY_NS = 40_000


def even_capture(
    *,
    sent: int,
    rate_pps: int = 1_000,
    lost: Iterable[int] = (),
    destinations: int = 1,
    stream: int = 1,
    tester_dropped: int | None = 0,
) -> Capture:
    """A stream that left exactly at its rate and arrived in order but for the lost frames."""
    lost = set(lost)
    received = [number for number in range(sent) if number not in lost]
    sent_ns = START_NS + np.arange(sent, dtype=np.int64) * 1_000_000_000 // rate_pps
    return Capture(
        stream=stream,
        rate_pps=rate_pps,
        destinations=destinations,
        sent_ns=sent_ns,
        received=np.array(received, dtype=np.int64),
        received_ns=sent_ns[received] + DELAY_NS,
        tester_dropped=tester_dropped,
        longest_stall_ns=0,
    )


def timed_capture(
    *,
    sent_at: Sequence[int],
    received: Sequence[int],
    received_at: Sequence[int] | None = None,
    rate_pps: int = 1_000,
    longest_stall_ns: int | None = None,
) -> Capture:
    """A stream whose frames left and arrived at these times, in nanoseconds after the start."""
    sent_ns = START_NS + np.array(sent_at, dtype=np.int64)
    numbers = np.array(received, dtype=np.int64)
    received_ns = (
        sent_ns[numbers] + DELAY_NS
        if received_at is None
        else START_NS + np.array(received_at, dtype=np.int64)
    )
    return Capture(
        stream=1,
        rate_pps=rate_pps,
        destinations=1,
        sent_ns=sent_ns,
        received=numbers,
        received_ns=received_ns,
        tester_dropped=0,
        longest_stall_ns=longest_stall_ns,
    )


def numbers(*values: int) -> NDArray[np.int64]:
    """Sequence numbers in order of arrival."""
    return np.array(values, dtype=np.int64)
