"""A stream of which only totals are known passes only where nothing can hide a loss."""

from dataclasses import replace

import pytest

from qualify.measure.counted import measure_totals
from qualify.measure.totals import Totals
from qualify.verdict.totals import find_shortfall, judge_totals
from qualify.verdict.verdict import Outcome, Verdict

MS = 1_000_000
CLEAN = Totals(
    sent=10_000,
    received=10_000,
    lost=None,
    duplicate=0,
    reordered=None,
    loss_periods=None,
    longest_stall_ns=0,
    running_ns=10_000_000_000,
)


def judge(totals: Totals, *, budget_ms: int = 50, dropped: int | None = 0) -> Verdict:
    figures = measure_totals(totals, stream=0, rate_pps=1_000, tester_dropped=dropped)
    return judge_totals(figures, budget_ns=budget_ms * MS)


def test_no_loss_with_everything_vouched_for_passes() -> None:
    assert judge(CLEAN) == Verdict(
        Outcome.PASS, "no loss of 10 000 frames (outage below 1.0 ms), budget 50.0 ms"
    )


@pytest.mark.parametrize(
    ("totals", "dropped", "doubt"),
    [
        (
            replace(CLEAN, duplicate=None),
            0,
            "but nobody tells further copies apart, and each of them can hide a lost frame",
        ),
        (replace(CLEAN, longest_stall_ns=None), 0, "but nobody knows whether the sender paused"),
        (CLEAN, None, "but nobody knows how many frames the generator dropped itself"),
        (
            replace(CLEAN, received=9_990),
            0,
            "but totals do not say whether the loss reaches the edge of the trial",
        ),
        (replace(CLEAN, longest_stall_ns=60 * MS), 0, "which frames so far apart cannot prove"),
    ],
)
def test_anything_that_can_hide_a_loss_makes_it_inconclusive(
    totals: Totals, dropped: int | None, doubt: str
) -> None:
    verdict = judge(totals, dropped=dropped)

    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert verdict.reason.endswith(f", {doubt}")


def test_unknown_duplicates_are_never_called_no_loss() -> None:
    verdict = judge(replace(CLEAN, duplicate=None))

    assert verdict.reason.startswith(
        "lost at least 0 of 10 000 frames: outage at least 0.0 ms (0.0 to 10 001.0 ms, by totals"
    )


def test_a_loss_that_breaks_the_budget_however_it_is_parted_fails() -> None:
    assert judge(replace(CLEAN, received=100)) == Verdict(
        Outcome.FAIL,
        "lost 9 900 of 10 000 frames: outage 9 900.0 ms (9 799.0 to 10 001.0 ms, by totals only), "
        "budget 50.0 ms",
    )


def test_a_loss_that_could_be_many_short_ones_does_not_fail() -> None:
    assert judge(replace(CLEAN, received=9_000)).outcome is Outcome.INCONCLUSIVE
    assert judge(replace(CLEAN, received=9_000, loss_periods=1)).outcome is Outcome.FAIL


def test_what_the_generator_dropped_is_not_held_against_the_device() -> None:
    one_period = replace(CLEAN, received=9_900, loss_periods=1)

    assert judge(one_period, dropped=0).outcome is Outcome.FAIL
    assert judge(one_period, dropped=25).outcome is Outcome.INCONCLUSIVE


def test_nothing_received_at_all_fails_unless_the_generator_dropped_it() -> None:
    nothing = replace(CLEAN, received=0, longest_stall_ns=None)

    assert judge(nothing).outcome is Outcome.FAIL
    assert judge(nothing, dropped=10_000).outcome is Outcome.INCONCLUSIVE


def test_nothing_sent_proves_nothing() -> None:
    assert judge(replace(CLEAN, sent=0, received=0)) == Verdict(
        Outcome.INCONCLUSIVE, "nothing was sent, so nothing is proven"
    )


@pytest.mark.parametrize(("sent", "short"), [(9_000, False), (8_999, True)])
def test_frames_that_do_not_cover_the_trial_are_told(sent: int, short: bool) -> None:  # noqa: FBT001
    words = find_shortfall(replace(CLEAN, sent=sent), rate_pps=1_000)

    expected = (
        "but the frames that were sent cover 9.0 s at most, and the trial ran for 10.0 s"
        if short
        else ""
    )
    assert words == expected
