"""Whole scenarios, derived: one stream at 1000 frames/s for 60 s unless said otherwise.

Loss periods after RFC 3357, reordering after RFC 4737, routes after RFC 6412.
"""

from dataclasses import replace

import numpy as np
import pytest

from qualify.measure.kept_frames import capture_frames
from qualify.measure.stream import measure_stream
from qualify.verdict.assess import assess
from qualify.verdict.judge import judge_outage
from qualify.verdict.verdict import Outcome
from tests.measure.captures import START_NS, even_capture, even_frames
from tests.verdict.trials import PLAN, UPGRADE_AT, with_loss


def test_o_scn_01_one_interruption() -> None:
    figures = measure_stream(even_capture(sent=60_000, lost=range(20_000, 20_050)))
    assert (figures.lost, len(figures.loss_periods), figures.reordered) == (50, 1, 0)
    assert figures.loss_periods[0].lost_frames == 50
    assert figures.loss_periods[0].started_ns == START_NS + 20_000_000_000
    assert (figures.outage_low_ns, figures.outage_ns, figures.outage_high_ns) == (
        49_000_000,
        50_000_000,
        51_000_000,
    )
    assert figures.receive_gap_ns == 51_000_000


def test_o_scn_02_two_interruptions() -> None:
    lost = [*range(20_000, 20_050), *range(30_000, 30_120)]
    figures = measure_stream(even_capture(sent=60_000, lost=lost))
    first, second = figures.loss_periods
    assert (first.lost_frames, second.lost_frames, figures.lost) == (50, 120, 170)
    assert second.first_lost - (first.first_lost + first.lost_frames - 1) == 9_951
    assert figures.longest_ns == 120_000_000
    assert (second.low_ns, second.high_ns) == (119_000_000, 121_000_000)
    assert (figures.outage_low_ns, figures.outage_ns, figures.outage_high_ns) == (
        168_000_000,
        170_000_000,
        172_000_000,
    )


def test_o_scn_03_every_hundredth_frame() -> None:
    figures = measure_stream(even_capture(sent=60_000, lost=range(99, 60_000, 100)))
    assert (figures.lost, len(figures.loss_periods)) == (600, 600)
    assert {period.lost_frames for period in figures.loss_periods} == {1}
    assert figures.longest_ns == 1_000_000
    assert {(period.low_ns, period.high_ns) for period in figures.loss_periods} == {(0, 2_000_000)}


def test_o_scn_04_eight_routes() -> None:
    """Lost per route 50 50 52 49 50 60 50 50 at 1000 frames/s each."""
    per_route = [50, 50, 52, 49, 50, 60, 50, 50]
    lost = [
        80_000 + 8 * number + route
        for route, lost in enumerate(per_route)
        for number in range(lost)
    ]
    figures = measure_stream(even_capture(sent=160_000, rate_pps=8_000, destinations=8, lost=lost))
    assert {loss.destination: loss.lost for loss in figures.destinations} == dict(
        enumerate(per_route)
    )
    worst, best = figures.destinations[0], figures.destinations[-1]
    assert (worst.destination, worst.outage_low_ns, worst.outage_high_ns) == (
        5,
        59_000_000,
        61_000_000,
    )
    assert (best.destination, best.outage_low_ns, best.outage_high_ns) == (
        3,
        48_000_000,
        50_000_000,
    )
    assert figures.lost == 411
    assert figures.outage_ns == 51_375_000


def test_o_scn_05_the_worst_direction_speaks() -> None:
    """A to B 50 lost, B to A 80 lost: 50 ms and 80 ms, never the mean of 65 ms."""
    lost = {
        2: range(UPGRADE_AT, UPGRADE_AT + 50),
        3: range(UPGRADE_AT, UPGRADE_AT + 80),
    }
    trial = assess(PLAN, with_loss(lost), target_release="5.2.0")
    assert [each.figures.outage_ns for each in trial.streams] == [0, 50_000_000, 80_000_000]
    assert trial.verdict.outcome is Outcome.FAIL
    assert trial.verdict.reason.startswith(
        "egp p6>p5: lost 80 of 60 000 frames: outage 80.0 ms (79.0 to 81.0 ms), budget 50.0 ms"
    )


def test_o_scn_06_duplicates_do_not_hide_loss() -> None:
    """1000 sent, 990 different received, 10 of them twice."""
    even = even_frames(sent=1_000, lost=range(500, 510))
    frames = replace(
        even,
        received=np.concatenate((even.received, even.received[:10])),
        received_ns=np.concatenate((even.received_ns, even.received_ns[-1] + np.arange(1, 11))),
    )
    figures = measure_stream(capture_frames(frames))
    assert (figures.sent, figures.received) == (1_000, 990)
    assert (figures.lost, figures.duplicate, figures.reordered) == (10, 10, 0)


def test_o_scn_07_a_late_frame_is_not_part_of_the_outage() -> None:
    """0 to 99 sent, 50 never arrives, 40 arrives after 45."""
    even = even_frames(sent=100, lost=[50])
    received = [number for number in even.received.tolist() if number != 40]
    received.insert(received.index(45) + 1, 40)
    frames = replace(even, received=np.array(received, dtype=np.int64))
    figures = measure_stream(capture_frames(frames))
    assert (figures.lost, figures.reordered, figures.duplicate) == (1, 1, 0)
    assert [(each.first_lost, each.lost_frames) for each in figures.loss_periods] == [(50, 1)]
    assert figures.outage_ns == 1_000_000


@pytest.mark.parametrize(
    ("lost", "outcome"),
    [
        (48, Outcome.PASS),
        (49, Outcome.PASS),
        (50, Outcome.INCONCLUSIVE),
        (51, Outcome.FAIL),
    ],
)
def test_o_scn_08_a_budget_of_50_ms(lost: int, outcome: Outcome) -> None:
    figures = measure_stream(even_capture(sent=60_000, lost=range(20_000, 20_000 + lost)))
    assert judge_outage(figures, budget_ns=50_000_000).outcome is outcome
