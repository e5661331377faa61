"""How long the analysis of arrivals takes for each frame.

Run by hand, before and after a change to the analyser:

    .venv/bin/python tests/benchmarks/arrivals.py

It prints nanoseconds per frame, the best of several runs, by the size of the chunks in which frames
are handed over. Destinations are visited round robin, so the number says the destination; the
loss of one destination of 10 000 is a hole in every ten thousandth place.
"""

# ruff: noqa: T201

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from qualify.measure.arrivals import ArrivalAnalyser

FRAMES = 4_000_000
CHUNKS = (2_000, 16_000, 131_000)
REPEATS = 5
RATE_PPS = 200_000
INTERVAL_NS = 5_000


@dataclass(frozen=True, slots=True)
class Arriving:
    """Frames of one stream in order of arrival."""

    sequence: NDArray[np.uint32]
    sent_ns: NDArray[np.int64]
    received_ns: NDArray[np.int64]


def arriving(numbers: NDArray[np.int64]) -> Arriving:
    """Let these numbers arrive at an even rate."""
    return Arriving(
        sequence=numbers.astype(np.uint32),
        sent_ns=numbers * INTERVAL_NS,
        received_ns=np.arange(numbers.size, dtype=np.int64) * INTERVAL_NS + 40_000,
    )


def clean() -> Arriving:
    """Every frame, in order."""
    return arriving(np.arange(FRAMES, dtype=np.int64))


def lossy() -> Arriving:
    """One frame in a hundred is lost, at random."""
    chance = np.random.default_rng(1).random(FRAMES)
    return arriving(np.flatnonzero(chance >= 0.01))


def disturbed() -> Arriving:
    """One in a hundred is lost, one late by up to 64 places, one comes twice."""
    random = np.random.default_rng(2)
    numbers = np.flatnonzero(random.random(FRAMES) >= 0.01)
    numbers = np.repeat(numbers, 1 + (random.random(numbers.size) < 0.01))
    late = random.random(numbers.size) < 0.01
    places = np.arange(numbers.size) + late * random.integers(1, 64, numbers.size)
    return arriving(numbers[np.argsort(places, kind="stable")])


def one_destination_of_10_000() -> Arriving:
    """One of 10 000 destinations gets nothing."""
    numbers = np.arange(FRAMES, dtype=np.int64)
    return arriving(numbers[numbers % 10_000 != 7_777])


def blackouts() -> Arriving:
    """All 10 000 destinations lose 50 ms of every second."""
    numbers = np.arange(FRAMES, dtype=np.int64)
    return arriving(numbers[numbers % RATE_PPS >= RATE_PPS // 20])


def analyse(frames: Arriving, chunk: int) -> ArrivalAnalyser:
    """Feed the frames in chunks."""
    analyser = ArrivalAnalyser()
    for start in range(0, frames.sequence.size, chunk):
        piece = slice(start, start + chunk)
        analyser.take(frames.sequence[piece], frames.sent_ns[piece], frames.received_ns[piece])
    return analyser


def best_ns(work: Callable[[], object]) -> float:
    """Return nanoseconds per frame of the fastest of several runs."""
    times = []
    for _ in range(REPEATS):
        began_ns = time.perf_counter_ns()
        work()
        times.append(time.perf_counter_ns() - began_ns)
    return min(times) / FRAMES


def main() -> None:
    """Print one line for each kind of disturbance."""
    print(f"{'ns per frame, chunks of':32}" + "".join(f"{chunk:>10}" for chunk in CHUNKS))
    for kind in (clean, lossy, disturbed, one_destination_of_10_000, blackouts):
        cells = [best_ns(partial(analyse, kind(), chunk)) for chunk in CHUNKS]
        print(f"{kind.__name__:32}" + "".join(f"{cell:10.1f}" for cell in cells))


if __name__ == "__main__":
    main()
