"""A clock that is set is noticed, a clock that is only turned is not."""

import time

import pytest

from qualify.traffic.ring_watch import BacklogWatch, ClockWatch


@pytest.fixture
def offset_ns(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """By how much CLOCK_REALTIME is ahead of CLOCK_MONOTONIC, which stands still."""
    ahead = [10**18]
    monkeypatch.setattr(time, "monotonic_ns", lambda: 5)
    monkeypatch.setattr(time, "time_ns", lambda: 5 + ahead[0])
    return ahead


@pytest.mark.parametrize("step_ns", [100_001, -100_001, 3_600_000_000_000])
def test_a_step_is_kept_with_its_sign(offset_ns: list[int], step_ns: int) -> None:
    watch = ClockWatch()
    offset_ns[0] += step_ns
    watch.look()
    watch.look()
    assert watch.step_ns == step_ns


def test_the_largest_step_counts(offset_ns: list[int]) -> None:
    watch = ClockWatch()
    for step_ns in (300_000, -900_000, 500_000):
        offset_ns[0] += step_ns
        watch.look()
    assert watch.step_ns == -900_000


def test_what_cannot_be_told_from_reading_two_clocks_is_no_step(offset_ns: list[int]) -> None:
    watch = ClockWatch()
    offset_ns[0] += 100_000
    watch.look()
    assert watch.step_ns == 0


def test_this_machine_does_not_step_and_drops_nothing_meanwhile() -> None:
    clock, backlog = ClockWatch(), BacklogWatch()
    clock.look()
    assert clock.step_ns == 0
    assert backlog.drops() is not None
