"""From what arrived to the loss periods of a stream and of each of its destinations, by number.

Everything here is about numbers; ``outage`` turns them into time. The work grows with the loss
periods, not with the frames.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.errors import MeasurementError
from qualify.measure.arrivals import Arrivals
from qualify.measure.gaps import FIRST, FRAMES


@dataclass(frozen=True, slots=True)
class LossRuns:
    """Loss periods as numbers: the first and the last lost of each, both of shape (periods,).

    Neighboring numbers of the sequence are ``stride`` apart: 1 for a stream, the number of
    destinations for the frames of one destination.
    """

    first: NDArray[np.int64]
    last: NDArray[np.int64]
    stride: int

    @property
    def frames(self) -> NDArray[np.int64]:
        """How many frames each period lost, shape (periods,)."""
        return (self.last - self.first) // self.stride + 1


def find_loss_periods(arrivals: Arrivals, *, sent_frames: int) -> LossRuns:
    """Find the runs of consecutive sequence numbers that never arrived.

    Two losses with one arrival between them are two loss periods. What was sent after the last
    arrival is lost as well. Periods that the analysis had to forget are not among them.

    Args:
        arrivals: what arrived.
        sent_frames: frames sent, numbered 0 to sent_frames - 1.

    Returns:
        One run for each loss period, lowest number first.

    Raises:
        MeasurementError: a number arrived that was never sent.

    Source:
        RFC 3357 §4, "loss period".
    """
    lowest = int(arrivals.duplicate_numbers.min(initial=0))
    if lowest < 0 or arrivals.next_expected > sent_frames:
        stray = lowest if lowest < 0 else arrivals.next_expected - 1
        raise MeasurementError(
            f"frame number {stray} arrived, but only {sent_frames} frames were sent",
            fix="keep frames of other runs and other senders off the tester ports, and run again",
        )
    first, frames = arrivals.gaps[:, FIRST], arrivals.gaps[:, FRAMES]
    last = first + frames - 1
    if arrivals.next_expected < sent_frames:
        first = np.append(first, arrivals.next_expected)
        last = np.append(last, sent_frames - 1)
    return LossRuns(first=first, last=last, stride=1)


def count_lost(arrivals: Arrivals, runs: LossRuns) -> int:
    """Count the frames that never arrived, in the loss periods and in those that were forgotten."""
    return int(runs.frames.sum()) + arrivals.forgotten_frames


def check_conservation(*, sent: int, distinct: int, lost: int) -> None:
    """Check that every frame that was sent either arrived or was lost.

    Arrivals and losses are counted in ways that know nothing of each other.

    Raises:
        MeasurementError: the two counts do not add up.
    """
    if distinct + lost != sent:
        raise MeasurementError(
            f"{sent} frames were sent, but {distinct} arrived and {lost} were lost",
            fix="keep the capture of this stream and report it: the instrument is wrong",
        )


def find_destination_periods(runs: LossRuns, *, destinations: int) -> LossRuns:
    """Find the loss periods of every destination by itself.

    Frame n went to destination ``n % destinations``, so one lost frame is a loss period of its
    destination even where the stream lost a thousand in a row, and two loss periods of the
    stream are one of a destination that had no arrival between them.

    Args:
        runs: loss periods of the stream, lowest number first.
        destinations: destinations visited round robin.

    Returns:
        The loss periods, those of one destination together.

    Source:
        RFC 6412 §3.5.3, route-specific loss-derived method.
    """
    # The first round of a period holds the first lost frame of every destination in it.
    visited = np.minimum(runs.frames, destinations)
    within = np.arange(visited.sum()) - np.repeat(np.cumsum(visited) - visited, visited)
    first = np.repeat(runs.first, visited) + within
    last = first + (np.repeat(runs.last, visited) - first) // destinations * destinations
    by_destination = np.argsort(first % destinations, kind="stable")
    first, last = first[by_destination], last[by_destination]
    apart = first[1:] - last[:-1] != destinations
    begins, ends = np.ones((2, first.size), dtype=np.bool_)
    begins[1:] = ends[:-1] = apart
    return LossRuns(first=first[begins], last=last[ends], stride=destinations)
