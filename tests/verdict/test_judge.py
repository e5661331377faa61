"""An outage against its budget, and what the tester must vouch for."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from qualify.measure.capture import Capture
from qualify.measure.figures import StreamFigures
from qualify.measure.stream import measure_stream
from qualify.verdict.judge import describe_outage, judge_outage, reaches_the_edge
from qualify.verdict.verdict import Outcome, Verdict
from tests.measure.captures import even_capture, timed_capture

BUDGET_NS = 50_000_000


def figures_of(
    *, lost: int, sent: int = 12_000, rate_pps: int = 200, first: int = 6_000
) -> StreamFigures:
    """One loss period in the middle of a stream."""
    return measure_stream(
        even_capture(sent=sent, rate_pps=rate_pps, lost=range(first, first + lost))
    )


def test_no_loss_at_a_rate_that_proves_it_passes() -> None:
    assert judge_outage(figures_of(lost=0), budget_ns=BUDGET_NS) == Verdict(
        Outcome.PASS, "no loss (outage below 5.0 ms), budget 50.0 ms"
    )


def test_an_outage_over_the_budget_fails() -> None:
    assert judge_outage(figures_of(lost=34), budget_ns=BUDGET_NS) == Verdict(
        Outcome.FAIL,
        "lost 34 of 12 000 frames: outage 170.0 ms (165.0 to 175.0 ms), budget 50.0 ms",
    )


def test_an_outage_within_the_budget_passes() -> None:
    assert judge_outage(figures_of(lost=9), budget_ns=BUDGET_NS) == Verdict(
        Outcome.PASS, "lost 9 of 12 000 frames: outage 45.0 ms (40.0 to 50.0 ms), budget 50.0 ms"
    )


def test_a_budget_between_the_bounds_is_inconclusive() -> None:
    assert judge_outage(figures_of(lost=10), budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE,
        "lost 10 of 12 000 frames: outage 50.0 ms (45.0 to 55.0 ms), budget 50.0 ms, "
        "which lies between the bounds",
    )


def test_a_rate_too_low_for_the_budget_proves_nothing() -> None:
    assert judge_outage(figures_of(lost=0), budget_ns=4_000_000) == Verdict(
        Outcome.INCONCLUSIVE,
        "no loss (outage below 5.0 ms), budget 4.0 ms, which frames so far apart cannot prove",
    )


def test_a_budget_is_never_shown_larger_than_it_is() -> None:
    assert judge_outage(figures_of(lost=0), budget_ns=50_090_000).reason == (
        "no loss (outage below 5.0 ms), budget 50.0 ms"
    )


def test_nothing_sent_proves_nothing() -> None:
    figures = measure_stream(even_capture(sent=0))
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE, "nothing was sent, so nothing is proven"
    )


def test_everything_lost_fails() -> None:
    figures = measure_stream(even_capture(sent=12_000, rate_pps=200, lost=range(12_000)))
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.FAIL,
        "lost 12 000 of 12 000 frames: outage 60 000.0 ms (at least 59 995.0 ms), budget 50.0 ms",
    )


def test_everything_lost_fails_however_short_the_stream() -> None:
    figures = measure_stream(even_capture(sent=1, rate_pps=1_000, lost=[0]))
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.FAIL, "lost 1 of 1 frame: outage 1.0 ms (at least 0.0 ms), budget 50.0 ms"
    )


def test_everything_lost_by_the_tester_is_no_fail() -> None:
    figures = measure_stream(
        even_capture(sent=12_000, rate_pps=200, lost=range(12_000), tester_dropped=12_000)
    )
    assert judge_outage(figures, budget_ns=BUDGET_NS).outcome is Outcome.INCONCLUSIVE


@pytest.mark.parametrize("lost", [0, 34])
def test_a_receiver_that_cannot_count_its_drops_gives_neither_pass_nor_fail(lost: int) -> None:
    figures = replace(figures_of(lost=lost), tester_dropped=None)
    verdict = judge_outage(figures, budget_ns=BUDGET_NS)
    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert verdict.reason.endswith(
        ", but the tester cannot count the frames that it dropped itself"
    )


def test_drops_that_can_change_a_pass_make_it_inconclusive() -> None:
    figures = replace(figures_of(lost=3), tester_dropped=1)
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE,
        "lost 3 of 12 000 frames: outage 15.0 ms (10.0 to 20.0 ms), budget 50.0 ms, "
        "but the tester itself dropped 1 frame",
    )


def test_drops_that_can_change_a_fail_make_it_inconclusive() -> None:
    # Bounds 165 to 175 ms; 12 drops can take 2 x 12 x 5 ms = 120 ms off: 45 ms.
    figures = replace(figures_of(lost=34), tester_dropped=12)
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE,
        "lost 34 of 12 000 frames: outage 170.0 ms (165.0 to 175.0 ms), budget 50.0 ms, "
        "but the tester itself dropped 12 frames",
    )


def test_a_fail_that_stands_without_the_drops_stays_one() -> None:
    # 11 drops can take 110 ms off: 55 ms are left.
    figures = replace(figures_of(lost=34), tester_dropped=11)
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.FAIL,
        "lost 34 of 12 000 frames: outage 170.0 ms (165.0 to 175.0 ms), budget 50.0 ms, "
        "even without the 11 frames that the tester dropped",
    )


def test_drops_beside_an_unsteady_sender_take_more_off() -> None:
    # An interval may have been 5 + 2 ms long: 11 drops can take 154 ms off.
    figures = replace(figures_of(lost=34), tester_dropped=11, longest_stall_ns=2_000_000)
    assert judge_outage(figures, budget_ns=BUDGET_NS).outcome is Outcome.INCONCLUSIVE


def test_drops_beside_a_sender_that_nobody_watched_leave_no_fail() -> None:
    figures = replace(figures_of(lost=1_000), tester_dropped=1, longest_stall_ns=None)
    assert judge_outage(figures, budget_ns=BUDGET_NS).outcome is Outcome.INCONCLUSIVE


def test_drops_cannot_change_a_stream_without_loss() -> None:
    figures = replace(figures_of(lost=0), tester_dropped=7)
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.PASS, "no loss (outage below 5.0 ms), budget 50.0 ms"
    )


@pytest.mark.parametrize("first", [0, 11_997])
def test_loss_at_the_edge_of_the_trial_gives_no_pass(first: int) -> None:
    figures = figures_of(lost=3, first=first)
    assert reaches_the_edge(figures)
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE,
        "lost 3 of 12 000 frames: outage 15.0 ms (at least 10.0 ms), budget 50.0 ms, "
        "but the loss reaches the edge of the trial, so nobody saw all of it",
    )


def test_loss_at_the_edge_of_the_trial_can_fail() -> None:
    assert judge_outage(figures_of(lost=34, first=0), budget_ns=BUDGET_NS).outcome is Outcome.FAIL


def test_a_pause_longer_than_the_budget_can_hide_an_outage() -> None:
    capture = timed_capture(
        sent_at=[0, 1_000_000, 61_000_000, 62_000_000], received=range(4), rate_pps=1_000
    )
    assert judge_outage(measure_stream(capture), budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE,
        "no loss (outage below 60.0 ms), budget 50.0 ms, "
        "but the sender paused for 59.0 ms, which can hide an outage",
    )


def test_a_pause_within_the_budget_hides_nothing_where_nothing_was_lost() -> None:
    figures = replace(figures_of(lost=0), longest_stall_ns=49_000_000)
    assert judge_outage(figures, budget_ns=BUDGET_NS).outcome is Outcome.PASS


def test_a_pause_comes_on_top_of_an_outage_that_was_seen() -> None:
    figures = figures_of(lost=5)  # 20 to 30 ms
    enough = replace(figures, longest_stall_ns=20_000_000)
    too_long = replace(figures, longest_stall_ns=20_000_001)
    assert judge_outage(enough, budget_ns=BUDGET_NS).outcome is Outcome.PASS
    assert judge_outage(too_long, budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE,
        "lost 5 of 12 000 frames: outage 25.0 ms (20.0 to 30.0 ms), budget 50.0 ms, "
        "but the sender paused for 20.1 ms, which can hide an outage",
    )


def test_a_pause_changes_nothing_about_a_fail() -> None:
    figures = replace(figures_of(lost=34), longest_stall_ns=9_000_000_000)
    assert judge_outage(figures, budget_ns=BUDGET_NS).outcome is Outcome.FAIL


def test_a_sender_that_nobody_watched_gives_no_pass() -> None:
    figures = replace(figures_of(lost=0), longest_stall_ns=None)
    assert judge_outage(figures, budget_ns=BUDGET_NS) == Verdict(
        Outcome.INCONCLUSIVE,
        "no loss (outage below 5.0 ms), budget 50.0 ms, but nobody knows whether the sender paused",
    )


def test_an_outage_is_described_rounded_against_the_device() -> None:
    # 1 lost at 3 frames/s: 333 333 334 ns, between 0 and 666 666 667 ns.
    figures = measure_stream(even_capture(sent=9, rate_pps=3, lost=[4]))
    assert describe_outage(figures) == "lost 1 of 9 frames: outage 333.4 ms (0.0 to 666.7 ms)"


# Frames meant to leave every 1000 ns by a sender with jitter and stalls, through a device that
# forwards nothing for a while, to a tester that drops some of what arrives and knows how many.
_GAPS = st.lists(st.sampled_from([0, 1, 700, 1_000, 1_000, 1_300, 9_000]), min_size=3, max_size=60)


@st.composite
def _trial(draw: st.DrawFn) -> tuple[Capture, int]:
    sent_at = np.cumsum(draw(_GAPS))
    start = draw(st.integers(int(sent_at[0]), int(sent_at[-1])))
    outage = draw(st.integers(1, 30_000))
    forwarded = np.flatnonzero((sent_at < start) | (sent_at >= start + outage))
    drops = draw(st.sets(st.integers(0, 59), max_size=4)) & set(range(forwarded.size))
    arrived = np.delete(forwarded, sorted(drops))
    capture = timed_capture(sent_at=sent_at.tolist(), received=arrived.tolist(), rate_pps=1_000_000)
    return replace(capture, tester_dropped=len(drops)), outage


@given(_trial(), st.integers(1, 40_000))
def test_no_outage_over_the_budget_passes_and_none_within_it_fails(
    trial: tuple[Capture, int], budget_ns: int
) -> None:
    capture, outage_ns = trial
    assume(capture.arrivals.received > 0)
    verdict = judge_outage(measure_stream(capture), budget_ns=budget_ns)
    wrong = Outcome.PASS if outage_ns > budget_ns else Outcome.FAIL
    assert verdict.outcome is not wrong
