"""scipy as a second opinion: it labels connected runs, which is what loss periods are."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from qualify.measure.sequence import LossRuns, find_destination_periods, find_loss_periods
from tests.measure.captures import arrivals_of


def runs_in(lost: NDArray[np.bool_]) -> LossRuns:
    """The loss periods of a stream of which these frames were lost."""
    arrivals = arrivals_of(*np.flatnonzero(~lost).tolist())
    return find_loss_periods(arrivals, sent_frames=lost.size)


@pytest.mark.parametrize("share_lost", [0.01, 0.3, 0.9])
def test_loss_periods_are_the_connected_runs(share_lost: float) -> None:
    lost = np.random.default_rng(3357).random(50_000) < share_lost
    runs = runs_in(lost)
    labels, _ = ndimage.label(lost)
    found = [(each.start, each.stop - 1) for (each,) in ndimage.find_objects(labels)]
    assert list(zip(runs.first.tolist(), runs.last.tolist(), strict=True)) == found


def test_loss_periods_of_destinations_are_the_runs_along_each_column() -> None:
    rounds, destinations = 700, 13
    lost = np.random.default_rng(6412).random(rounds * destinations) < 0.4
    runs = find_destination_periods(runs_in(lost), destinations=destinations)
    along_rounds = [[0, 1, 0], [0, 1, 0], [0, 1, 0]]
    labels, found = ndimage.label(lost.reshape(rounds, destinations), structure=along_rounds)
    sizes = ndimage.sum_labels(np.ones_like(labels), labels, range(1, found + 1))
    assert runs.first.size == found
    assert sorted(runs.frames.tolist()) == sorted(sizes.astype(int).tolist())
