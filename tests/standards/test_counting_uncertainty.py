"""How well counting bounds an outage: derived, and in accord with RFC 6413 section 6.3.3.

Model: frames leave every 1/r; one outage [s, s+D) destroys every frame sent inside it.
"""

import pytest

from qualify.measure.figures import StreamFigures
from qualify.measure.stream import measure_stream
from qualify.verdict.judge import judge_outage
from qualify.verdict.verdict import Outcome
from tests.measure.captures import even_capture


def figures_of(lost: int, rate_pps: int) -> StreamFigures:
    return measure_stream(even_capture(sent=1_000, rate_pps=rate_pps, lost=range(500, 500 + lost)))


@pytest.mark.parametrize(
    ("rate_pps", "lost", "low_ns", "estimate_ns", "high_ns"),
    [
        pytest.param(1_000, 50, 49_000_000, 50_000_000, 51_000_000, id="O-UNC-03"),
        pytest.param(100, 1, 0, 10_000_000, 20_000_000, id="O-UNC-04"),
        pytest.param(1_000, 0, 0, 0, 1_000_000, id="O-UNC-02 and O-UNC-05, no loss"),
        pytest.param(10_000, 123, 12_200_000, 12_300_000, 12_400_000, id="O-UNC-05"),
        # 1/3000 s is no whole number of ns: low down, estimate and high up.
        pytest.param(3_000, 2, 333_333, 666_667, 1_000_000, id="O-UNC-01, rounded outwards"),
    ],
)
def test_o_unc_bounds_of_one_loss_period(
    rate_pps: int, lost: int, low_ns: int, estimate_ns: int, high_ns: int
) -> None:
    figures = figures_of(lost, rate_pps)
    assert (figures.outage_low_ns, figures.outage_ns, figures.outage_high_ns) == (
        low_ns,
        estimate_ns,
        high_ns,
    )


def test_o_unc_09_each_loss_period_widens_the_bounds_by_one_interval() -> None:
    """170 lost in 2 loss periods at 1000 frames/s: 168 to 172 ms."""
    lost = [*range(200, 250), *range(400, 520)]
    figures = measure_stream(even_capture(sent=1_000, lost=lost))
    assert (figures.outage_low_ns, figures.outage_high_ns) == (168_000_000, 172_000_000)


def test_o_unc_09_the_lower_bound_is_never_below_zero() -> None:
    """600 losses of one frame each: 0 ms to 1200 ms."""
    figures = measure_stream(even_capture(sent=60_000, lost=range(99, 60_000, 100)))
    # The last frame is lost as well: its loss period is open, extended by one interval.
    assert (figures.outage_low_ns, figures.outage_high_ns) == (0, 1_200_000_000)


@pytest.mark.parametrize(
    ("lost", "rate_pps", "budget_ns", "outcome"),
    [
        (48, 1_000, 50_000_000, Outcome.PASS),
        (49, 1_000, 50_000_000, Outcome.PASS),
        (50, 1_000, 50_000_000, Outcome.INCONCLUSIVE),
        (51, 1_000, 50_000_000, Outcome.FAIL),
        (0, 100, 5_000_000, Outcome.INCONCLUSIVE),
        (0, 20, 50_000_000, Outcome.PASS),
        (0, 19, 50_000_000, Outcome.INCONCLUSIVE),
    ],
)
def test_o_unc_the_guard_band_of_a_budget(
    lost: int, rate_pps: int, budget_ns: int, outcome: Outcome
) -> None:
    """Both bounds are exclusive, so a bound that equals the budget decides."""
    assert judge_outage(figures_of(lost, rate_pps), budget_ns=budget_ns).outcome is outcome
