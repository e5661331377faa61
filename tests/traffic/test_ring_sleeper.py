"""A sleeper that always wakes up too late learns by how much, and then naps instead."""

import time

import pytest

from qualify.traffic.ring_sleeper import Sleeper


class Processor:
    """A clock, and a processor that comes back from every real sleep ``late_ns`` too late."""

    def __init__(self) -> None:
        self.now_ns = 0
        self.late_ns = 60_000
        self.naps = 0

    def sleep(self, seconds: float) -> None:
        """Let time pass, and more of it than was asked for."""
        wanted_ns = round(seconds * 1e9)
        is_nap = wanted_ns <= 1_000
        self.naps += is_nap
        self.now_ns += wanted_ns + (0 if is_nap else self.late_ns)


@pytest.fixture
def processor(monkeypatch: pytest.MonkeyPatch) -> Processor:
    made = Processor()
    monkeypatch.setattr(time, "monotonic_ns", lambda: made.now_ns)
    monkeypatch.setattr(time, "sleep", made.sleep)
    return made


def test_the_first_sleep_is_too_late_and_the_hundredth_is_on_time(processor: Processor) -> None:
    sleeper = Sleeper(naps=True)
    sleeper.sleep_until(1_000_000)
    assert processor.now_ns == 1_060_000
    for turn in range(2, 102):
        sleeper.sleep_until(turn * 1_000_000)
    assert abs(processor.now_ns - 101_000_000) < 1_000


def test_a_time_that_has_passed_is_not_waited_for(processor: Processor) -> None:
    sleeper = Sleeper(naps=True)
    processor.now_ns = 5
    sleeper.sleep_until(5)
    assert (processor.now_ns, processor.naps) == (5, 0)


def test_a_wait_that_is_shorter_than_the_lateness_is_napped_over(processor: Processor) -> None:
    sleeper = Sleeper(naps=True)
    for turn in range(1, 101):
        sleeper.sleep_until(turn * 1_000_000)
    began_ns, processor.naps = processor.now_ns, 0
    sleeper.sleep_until(began_ns + 50_000)
    assert processor.now_ns == began_ns + 50_000
    assert processor.naps == 50


def test_where_others_have_to_work_it_only_sleeps(processor: Processor) -> None:
    sleeper = Sleeper(naps=False)
    for turn in range(1, 101):
        sleeper.sleep_until(turn * 1_000_000)
    assert processor.now_ns == 100_060_000
    assert processor.naps == 0


def test_a_bad_moment_is_forgotten_although_nothing_but_naps_follow(processor: Processor) -> None:
    sleeper = Sleeper(naps=True)
    processor.late_ns = 150_000
    for turn in range(1, 101):
        sleeper.sleep_until(turn * 1_000_000)
    processor.late_ns = 10_000
    for turn in range(1, 6_001):
        sleeper.sleep_until(200_000_000 + turn * 50_000)
    assert sleeper.margin_ns < 50_000
