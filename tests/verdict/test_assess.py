"""One trial as a whole, and the decision about a release."""

from dataclasses import replace

import pytest

from qualify.measure.observation import NeighborChange, NeighborEvent, Observation
from qualify.units import NS_PER_S
from qualify.verdict.assess import assess, decide
from qualify.verdict.assessment import Decision, TrialAssessment
from qualify.verdict.verdict import Outcome, Verdict
from tests.verdict.trials import (
    ACTIVATED_NS,
    CLEAN,
    DUT,
    PLAN,
    UPGRADE_AT,
    with_loss,
)

BROKEN = with_loss({3: range(UPGRADE_AT, UPGRADE_AT + 80)})


def assessed(observation: Observation, *, number: int = 1, case: str = "") -> TrialAssessment:
    plan = replace(PLAN, number=number, case=replace(PLAN.case, name=case or PLAN.case.name))
    return assess(plan, observation, target_release="5.2.0")


def test_a_clean_trial_passes_and_names_its_longest_outage() -> None:
    trial = assessed(with_loss({2: range(UPGRADE_AT, UPGRADE_AT + 30)}))
    assert trial.verdict == Verdict(
        Outcome.PASS,
        "all 9 checks passed; the longest outage: egp p5>p6: lost 30 of 60 000 frames: "
        "outage 30.0 ms (29.0 to 31.0 ms), budget 50.0 ms",
    )
    assert trial.steady == Verdict(
        Outcome.PASS,
        "60 000 frames on 3 streams before the upgrade, none lost, repeated or out of order",
    )
    assert [each.verdict.outcome for each in trial.duts] == [Outcome.PASS]
    assert [each.verdict.reason for each in trial.neighbors] == ["Established throughout"] * 2


def test_a_broken_promise_fails_the_trial() -> None:
    assert assessed(BROKEN).verdict == Verdict(
        Outcome.FAIL,
        "egp p6>p5: lost 80 of 60 000 frames: outage 80.0 ms (79.0 to 81.0 ms), budget 50.0 ms",
    )


def test_of_several_broken_promises_the_worst_outage_is_named() -> None:
    lost = {2: range(UPGRADE_AT, UPGRADE_AT + 80), 3: range(UPGRADE_AT, UPGRADE_AT + 900)}
    assert assessed(with_loss(lost)).verdict == Verdict(
        Outcome.FAIL,
        "egp p6>p5: lost 900 of 60 000 frames: outage 900.0 ms (899.0 to 901.0 ms), "
        "budget 50.0 ms; fail in 2 of 9 checks",
    )


def test_loss_before_the_upgrade_is_an_error_whatever_came_later() -> None:
    trial = assessed(with_loss({1: [500], 3: range(UPGRADE_AT, UPGRADE_AT + 80)}))
    assert trial.steady.outcome is Outcome.ERROR
    assert trial.verdict == Verdict(
        Outcome.ERROR,
        "steady state: l2 p1>p2 lost 1, repeated 0 and reordered 0 of 20 000 frames "
        "before the upgrade: a bench fault",
    )


def test_a_fail_stays_a_fail_beside_what_could_not_be_measured() -> None:
    trial = assessed(replace(BROKEN, captures=BROKEN.captures[1:]))
    assert trial.verdict.outcome is Outcome.FAIL


def test_a_stream_that_was_not_captured_makes_the_trial_inconclusive() -> None:
    trial = assessed(replace(CLEAN, captures=CLEAN.captures[:2]))
    assert trial.verdict == Verdict(Outcome.INCONCLUSIVE, "egp p6>p5: nothing was captured")


def test_a_bench_that_broke_off_is_an_error_and_shows_no_zeros() -> None:
    words = "d1 refused 5.2.0: it is not made for this model"
    dut = replace(DUT, release_after="5.1.0", upgrade_ns=None, activated_ns=None)
    trial = assessed(
        replace(CLEAN, captures=(), neighbors=(), routes=CLEAN.routes, duts=(dut,), problem=words)
    )
    assert trial.verdict == trial.steady == Verdict(Outcome.ERROR, words)
    assert trial.streams == ()
    assert [(each.routes_with_loss, each.worst_outage_ns) for each in trial.routes] == [
        (None, None),
        (None, None),
    ]
    assert trial.duts[0].verdict.outcome is Outcome.INCONCLUSIVE
    assert trial.routes[0].verdict == Verdict(
        Outcome.INCONCLUSIVE,
        "0 of 4 routes missing afterwards, none allowed, but no upgrade was activated",
    )


def test_a_bench_that_broke_off_late_still_shows_what_was_captured() -> None:
    trial = assessed(replace(BROKEN, problem="the peer at p5 died"))
    assert trial.verdict == Verdict(Outcome.ERROR, "the peer at p5 died")
    assert trial.steady.outcome is Outcome.PASS
    assert trial.streams[2].verdict.outcome is Outcome.FAIL
    assert trial.streams[0].verdict == Verdict(
        Outcome.INCONCLUSIVE,
        "no loss (outage below 1.0 ms), budget 50.0 ms, but the upgrade was not seen through",
    )
    assert trial.neighbors[0].verdict == Verdict(
        Outcome.INCONCLUSIVE, "Established throughout, but the upgrade was not seen through"
    )


def test_a_device_that_never_came_back_fails_and_its_streams_are_shown() -> None:
    gone = replace(DUT, release_after=None, upgrade_ns=None)
    lost = range(UPGRADE_AT, 60_000)
    trial = assessed(replace(with_loss({1: lost, 2: lost, 3: lost}), duts=(gone,)))
    assert trial.verdict == Verdict(
        Outcome.FAIL, "d1: never came back with 5.2.0; fail in 4 of 9 checks"
    )
    assert [each.figures.lost for each in trial.streams] == [40_000] * 3


def test_a_lost_session_fails_the_trial() -> None:
    events = (
        NeighborEvent(ACTIVATED_NS + 1, NeighborChange.DOWN, "Established to Idle"),
        NeighborEvent(ACTIVATED_NS + NS_PER_S, NeighborChange.UP, "OpenConfirm to Established"),
    )
    neighbors = (replace(CLEAN.neighbors[0], events=events), CLEAN.neighbors[1])
    trial = assessed(replace(CLEAN, neighbors=neighbors))
    assert [(each.flaps, each.graceful_restarts) for each in trial.neighbors] == [(1, 0), (0, 0)]
    assert trial.verdict == Verdict(Outcome.FAIL, "egp bgp neighbor at p5: 1 flap, none allowed")


def test_a_missing_route_fails_the_trial() -> None:
    routes = (CLEAN.routes[0], replace(CLEAN.routes[1], lowest=3, after=3))
    trial = assessed(replace(CLEAN, routes=routes))
    assert trial.verdict == Verdict(
        Outcome.FAIL, "egp p6>p5 routes: 1 of 4 routes missing afterwards, none allowed"
    )


def test_each_route_is_looked_at_in_the_stream_of_its_direction() -> None:
    # Four routes, one round is 4 ms. Route 0 lost two frames in a row, route 1 one frame.
    lost = [UPGRADE_AT, UPGRADE_AT + 1, UPGRADE_AT + 4]
    trial = assessed(with_loss({2: lost}))
    assert [each.history.direction for each in trial.routes] == ["p5>p6", "p6>p5"]
    assert [(each.routes_with_loss, each.worst_outage_ns) for each in trial.routes] == [
        (2, 12_000_000),
        (0, 4_000_000),
    ]


def test_routes_of_a_direction_without_figures_have_no_outage() -> None:
    trial = assessed(replace(CLEAN, captures=CLEAN.captures[:2]))
    assert trial.routes[1].routes_with_loss is None
    assert trial.routes[1].worst_outage_ns is None


@pytest.mark.parametrize(
    ("observation", "reason"),
    [
        (
            replace(CLEAN, neighbors=()),
            "egp p5>p6: no peer told of its neighbor; inconclusive in 2",
        ),
        (replace(CLEAN, routes=CLEAN.routes[:1]), "egp p6>p5: no peer counted its routes"),
        (replace(CLEAN, duts=()), "l2 p1>p2: no loss (outage below 1.0 ms), but no upgrade was"),
    ],
)
def test_what_nobody_watched_gives_no_pass(observation: Observation, reason: str) -> None:
    verdict = assessed(observation).verdict
    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert verdict.reason.startswith(reason)


def test_a_trial_without_any_device_or_stream_gives_no_pass() -> None:
    empty = Observation(CLEAN.phases, (), (), (), (), "")
    trial = assess(replace(PLAN, streams=()), empty, target_release="5.2.0")
    assert trial.verdict == Verdict(
        Outcome.INCONCLUSIVE,
        "steady state: no frame was counted before the upgrade; inconclusive in 2 of 2 checks",
    )


def test_a_release_is_qualified_when_every_required_trial_passed() -> None:
    trials = [assessed(CLEAN, number=1), assessed(CLEAN, number=2), assessed(CLEAN, case="l2")]
    assert decide(trials, required={"mixed-one-tier": 2, "l2": 1}) == Decision(
        "qualified", "3 required trials of 2 cases passed, none failed"
    )


def test_a_release_is_not_qualified_when_one_trial_failed() -> None:
    trials = [assessed(CLEAN, number=1), assessed(BROKEN, number=2), assessed(CLEAN, number=3)]
    assert decide(trials, required={"mixed-one-tier": 2}) == Decision(
        "not qualified",
        "1 of 3 trials failed, first mixed-one-tier-trial2: egp p6>p5: lost 80 of 60 000 frames: "
        "outage 80.0 ms (79.0 to 81.0 ms), budget 50.0 ms",
    )


def test_a_trial_that_proved_nothing_leaves_the_release_not_proven() -> None:
    unclear = replace(CLEAN, captures=CLEAN.captures[:2])
    trials = [assessed(CLEAN, number=1), assessed(unclear, number=2)]
    assert decide(trials, required={"mixed-one-tier": 2}) == Decision(
        "not proven",
        "mixed-one-tier passed 1 of 2 required trials, mixed-one-tier-trial2 was inconclusive: "
        "egp p6>p5: nothing was captured",
    )


def test_a_trial_beyond_the_required_ones_may_prove_nothing() -> None:
    unclear = replace(CLEAN, captures=CLEAN.captures[:2])
    trials = [assessed(unclear, number=1), assessed(CLEAN, number=2)]
    assert decide(trials, required={"mixed-one-tier": 1}).word == "qualified"


def test_trials_that_were_not_run_prove_nothing() -> None:
    assert decide([assessed(CLEAN)], required={"mixed-one-tier": 3}) == Decision(
        "not proven", "mixed-one-tier passed 1 of 3 required trials, more were not run"
    )
    assert decide([], required={"mixed-one-tier": 1}).reason == (
        "mixed-one-tier passed 0 of 1 required trial, more were not run"
    )


@pytest.mark.parametrize("required", [{}, {"mixed-one-tier": 0}])
def test_a_run_that_required_nothing_proves_nothing(required: dict[str, int]) -> None:
    assert decide([assessed(CLEAN)], required=required) == Decision(
        "not proven", "no trial was required, so none proves anything"
    )
