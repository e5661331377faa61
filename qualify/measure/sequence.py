"""From the numbers that arrived to those that never did, came twice or came late.

Everything here is about numbers; ``outage`` turns them into time. All of it is O(n) for arrivals
in order, vectorised: ten million numbers take well under a second.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.errors import MeasurementError


@dataclass(frozen=True, slots=True)
class Arrivals:
    """What arrived, by number.

    Attributes:
        first_copy: which arrivals were the first of their number, shape (arrived,).
        distinct: different numbers that arrived (RFC 7680: a duplicate is not lost).
        duplicate: further copies (RFC 4689 §3.3.5).
        reordered: first copies that came after a higher number (RFC 4737 §3.3).
    """

    first_copy: NDArray[np.bool_]
    distinct: int
    duplicate: int
    reordered: int


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


def find_arrivals(received: NDArray[np.int64]) -> Arrivals:
    """Tell first copies from duplicates, and count those that arrived out of order.

    Loss alone never makes a frame reordered, and neither does a duplicate: only first copies are
    looked at.

    Args:
        received: sequence numbers in order of arrival, shape (arrived,).

    Source:
        RFC 4737 §3.3, §3.6: a number below NextExp is reordered and leaves NextExp as it is.
    """
    in_order = np.ones(received.shape, dtype=np.bool_)
    in_order[1:] = received[1:] > np.maximum.accumulate(received)[:-1]
    first_copy = in_order.copy()
    late = np.flatnonzero(~in_order)
    numbers, first_at = np.unique(received[late], return_index=True)
    fresh = np.isin(numbers, received[in_order], assume_unique=True, invert=True)
    first_copy[late[first_at[fresh]]] = True
    distinct = int(np.count_nonzero(first_copy))
    return Arrivals(
        first_copy=first_copy,
        distinct=distinct,
        duplicate=received.size - distinct,
        reordered=int(np.count_nonzero(fresh)),
    )


def find_lost(received: NDArray[np.int64], *, sent_frames: int) -> NDArray[np.int64]:
    """Find the numbers that never arrived.

    Order and repetition do not matter: a late frame is not a lost frame.

    Args:
        received: sequence numbers in order of arrival, shape (arrived,).
        sent_frames: frames sent, numbered 0 to sent_frames - 1.

    Returns:
        The lost numbers, ascending, shape (lost,).

    Raises:
        MeasurementError: a number arrived that was never sent.
    """
    stray = received[(received < 0) | (received >= sent_frames)]
    if stray.size:
        raise MeasurementError(
            f"frame number {stray[0]} arrived, but only {sent_frames} frames were sent",
            fix="keep frames of other runs and other senders off the tester ports, and run again",
        )
    arrived = np.zeros(sent_frames, dtype=np.bool_)
    arrived[received] = True
    return np.flatnonzero(~arrived)


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


def find_loss_periods(lost: NDArray[np.int64], *, stride: int) -> LossRuns:
    """Find the runs of consecutive sequence numbers that never arrived.

    Two losses with one arrival between them are two loss periods.

    Args:
        lost: lost numbers, ascending among those that are a multiple of ``stride`` apart.
        stride: how far apart neighboring numbers of the sequence are.

    Returns:
        One run for each loss period, in the order of ``lost``.

    Source:
        RFC 3357 §4, "loss period".
    """
    breaks = np.flatnonzero(np.diff(lost) != stride)
    return LossRuns(
        first=lost[np.concatenate(([0], breaks + 1))] if lost.size else lost,
        last=lost[np.concatenate((breaks, [lost.size - 1]))] if lost.size else lost,
        stride=stride,
    )


def find_destination_periods(lost: NDArray[np.int64], *, destinations: int) -> LossRuns:
    """Find the loss periods of every destination by itself.

    Frame n went to destination ``n % destinations``, so one lost frame is a loss period of its
    destination even where the stream lost a thousand in a row.

    Args:
        lost: lost numbers of the stream, ascending.
        destinations: destinations visited round robin.

    Returns:
        The loss periods, those of one destination together.

    Source:
        RFC 6412 §3.5.3, route-specific loss-derived method.
    """
    by_destination = np.argsort(lost % destinations, kind="stable")
    return find_loss_periods(lost[by_destination], stride=destinations)
