"""Every stream of a trial: measured and judged, or named with why it was not."""

from dataclasses import replace

import pytest

from qualify.measure.kept_frames import capture_frames
from qualify.measure.observation import Observation
from qualify.units import NS_PER_S
from qualify.verdict.streams import assess_streams, find_activation, stream_name
from qualify.verdict.summary import Said
from qualify.verdict.verdict import Outcome, Verdict
from tests.verdict.trials import (
    ACTIVATED_NS,
    CLEAN,
    DUT,
    PLAN,
    UPGRADE_AT,
    frames_of,
    with_loss,
)


def verdict_on_first(observation: Observation) -> Verdict:
    assessed, _ = assess_streams(PLAN, observation)
    return assessed[0].verdict


def test_every_stream_is_judged_against_the_budget_of_its_path() -> None:
    lost = range(UPGRADE_AT, UPGRADE_AT + 80)
    assessed, unmeasured = assess_streams(PLAN, with_loss({3: lost}))
    assert [stream_name(each.stream) for each in assessed] == ["l2 p1>p2", "egp p5>p6", "egp p6>p5"]
    assert [each.budget_ns for each in assessed] == [50_000_000] * 3
    assert [each.verdict for each in assessed] == [
        Verdict(Outcome.PASS, "no loss (outage below 1.0 ms), budget 50.0 ms"),
        Verdict(Outcome.PASS, "no loss (outage below 1.0 ms), budget 50.0 ms"),
        Verdict(
            Outcome.FAIL,
            "lost 80 of 60 000 frames: outage 80.0 ms (79.0 to 81.0 ms), budget 50.0 ms",
        ),
    ]
    assert unmeasured == ()


def test_a_stream_without_a_capture_gets_no_figures() -> None:
    assessed, unmeasured = assess_streams(PLAN, replace(CLEAN, captures=CLEAN.captures[:1]))
    assert [each.stream.number for each in assessed] == [1]
    assert unmeasured == (
        Said("egp p5>p6", Verdict(Outcome.INCONCLUSIVE, "nothing was captured")),
        Said("egp p6>p5", Verdict(Outcome.INCONCLUSIVE, "nothing was captured")),
    )


def test_a_capture_that_contradicts_itself_gets_no_figures() -> None:
    frames = frames_of(2)
    broken = capture_frames(replace(frames, received=frames.received + 1))
    observation = replace(CLEAN, captures=(CLEAN.captures[0], broken, CLEAN.captures[2]))
    assessed, unmeasured = assess_streams(PLAN, observation)
    assert [each.stream.number for each in assessed] == [1, 3]
    assert unmeasured == (
        Said(
            "egp p5>p6",
            Verdict(
                Outcome.INCONCLUSIVE,
                "frame number 60000 arrived, but only 60000 frames were sent",
            ),
        ),
    )


def test_a_path_without_a_budget_is_inconclusive() -> None:
    case = replace(PLAN.case, budgets={"egp": PLAN.case.budgets["egp"]})
    assessed, _ = assess_streams(replace(PLAN, case=case), CLEAN)
    assert assessed[0].budget_ns is None
    assert assessed[0].verdict == Verdict(
        Outcome.INCONCLUSIVE, "no loss (outage below 1.0 ms), but the case sets no budget"
    )


@pytest.mark.parametrize("lost", [[], [UPGRADE_AT + n for n in range(80)]])
def test_without_an_upgrade_a_stream_neither_passes_nor_fails(lost: list[int]) -> None:
    observation = replace(with_loss({1: lost}), duts=(replace(DUT, activated_ns=None),))
    verdict = verdict_on_first(observation)
    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert verdict.reason.endswith(", but no upgrade was activated")


def test_a_stream_that_fell_silent_before_the_end_gives_no_pass() -> None:
    # The link of the tester went down after 4 s: nothing more was sent, so nothing was lost.
    full = frames_of(1)
    cut = capture_frames(
        replace(
            full,
            sent_ns=full.sent_ns[:24_000],
            received=full.received[:24_000],
            received_ns=full.received_ns[:24_000],
        )
    )
    assert verdict_on_first(replace(CLEAN, captures=(cut,))) == Verdict(
        Outcome.INCONCLUSIVE,
        "no loss (outage below 1.0 ms), budget 50.0 ms, "
        "but the sender fell silent 36.1 s before the trial was over",
    )


def test_a_trial_that_does_not_say_how_long_traffic_ran_gives_no_pass() -> None:
    assert verdict_on_first(replace(CLEAN, phases=CLEAN.phases[:3])) == Verdict(
        Outcome.INCONCLUSIVE,
        "no loss (outage below 1.0 ms), budget 50.0 ms, but nobody knows how long the traffic ran",
    )


def test_an_upgrade_begins_with_the_first_device() -> None:
    later = replace(DUT, name="d2", activated_ns=ACTIVATED_NS + 5 * NS_PER_S)
    never = replace(DUT, name="d3", activated_ns=None)
    assert find_activation(replace(CLEAN, duts=(never, later, DUT))) == ACTIVATED_NS
    assert find_activation(replace(CLEAN, duts=(never,))) is None
