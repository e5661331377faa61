"""Neighbors, routes, releases and the steady bench, each with its verdict."""

import pytest

from qualify.measure.neighbors import NeighborCount
from qualify.measure.observation import DutObservation, NeighborHistory, RouteHistory
from qualify.measure.steady import EarlyImpairment
from qualify.testbed.case import NeighborBudget, RouteBudget
from qualify.verdict.checks import judge_neighbor, judge_release, judge_routes, judge_steady
from qualify.verdict.verdict import Outcome, Verdict

STRICT = NeighborBudget(flaps=0, graceful_restarts_allowed=False)
LENIENT = NeighborBudget(flaps=2, graceful_restarts_allowed=True)
ACTIVATED_NS = 1_700_000_000_000_000_000


def neighbor(before: str | None, after: str | None) -> NeighborHistory:
    return NeighborHistory("egp", "p5", "bgp", "Established", None, before, after, ())


def dut(
    after: str | None,
    *,
    activated_ns: int | None = ACTIVATED_NS,
    upgrade_ns: int | None = 31_000_000_000,
    problem: str = "",
) -> DutObservation:
    return DutObservation("d1", 1, "5.1.0", after, upgrade_ns, problem, (), activated_ns)


@pytest.mark.parametrize(
    ("flaps", "restarts", "budget", "outcome", "reason"),
    [
        (0, 0, STRICT, Outcome.PASS, "Established throughout"),
        (1, 0, STRICT, Outcome.FAIL, "1 flap, none allowed"),
        (3, 0, LENIENT, Outcome.FAIL, "3 flaps, 2 allowed"),
        (0, 1, STRICT, Outcome.FAIL, "1 graceful restart, none allowed"),
        (2, 0, LENIENT, Outcome.PASS, "Established afterwards, 2 flaps, as allowed"),
        (0, 1, LENIENT, Outcome.PASS, "Established afterwards, 1 graceful restart, as allowed"),
        (
            1,
            2,
            LENIENT,
            Outcome.PASS,
            "Established afterwards, 1 flap and 2 graceful restarts, as allowed",
        ),
    ],
)
def test_flaps_and_graceful_restarts_are_budgeted_apart(
    flaps: int, restarts: int, budget: NeighborBudget, outcome: Outcome, reason: str
) -> None:
    history = neighbor("Established", "Established")
    verdict = judge_neighbor(history, NeighborCount(flaps, restarts), budget=budget)
    assert verdict == Verdict(outcome, reason)


@pytest.mark.parametrize(
    ("before", "after", "outcome", "reason"),
    [
        (
            "Active",
            "Established",
            Outcome.ERROR,
            "the session was Active, not Established, before the upgrade: a bench fault",
        ),
        (
            "Established",
            "Active",
            Outcome.FAIL,
            "the session is Active afterwards, not Established",
        ),
        (
            None,
            "Established",
            Outcome.INCONCLUSIVE,
            "the peer could not tell the state before the upgrade",
        ),
        (
            "Established",
            None,
            Outcome.INCONCLUSIVE,
            "the peer could not tell the state after the upgrade",
        ),
    ],
)
def test_only_the_state_in_service_counts_as_up(
    before: str | None, after: str | None, outcome: Outcome, reason: str
) -> None:
    verdict = judge_neighbor(neighbor(before, after), NeighborCount(0, 0), budget=LENIENT)
    assert verdict == Verdict(outcome, reason)


def test_flaps_that_were_seen_fail_even_when_the_last_state_is_unknown() -> None:
    verdict = judge_neighbor(neighbor("Established", None), NeighborCount(1, 0), budget=STRICT)
    assert verdict == Verdict(Outcome.FAIL, "1 flap, none allowed")


@pytest.mark.parametrize(
    ("before", "after", "lost", "outcome", "reason"),
    [
        (6_000, 6_000, 0, Outcome.PASS, "0 of 6 000 routes missing afterwards, none allowed"),
        (6_000, 5_999, 0, Outcome.FAIL, "1 of 6 000 routes missing afterwards, none allowed"),
        (6_000, 5_990, 10, Outcome.PASS, "10 of 6 000 routes missing afterwards, 10 allowed"),
        (6_000, 5_989, 10, Outcome.FAIL, "11 of 6 000 routes missing afterwards, 10 allowed"),
        (6_000, 0, 0, Outcome.FAIL, "6 000 of 6 000 routes missing afterwards, none allowed"),
        (6_001, 6_001, 0, Outcome.PASS, "0 of 6 000 routes missing afterwards, none allowed"),
        (
            5_999,
            6_000,
            0,
            Outcome.ERROR,
            "5 999 of 6 000 routes were there before the upgrade: a bench fault",
        ),
        (
            5_999,
            None,
            0,
            Outcome.ERROR,
            "5 999 of 6 000 routes were there before the upgrade: a bench fault",
        ),
        (
            None,
            6_000,
            0,
            Outcome.INCONCLUSIVE,
            "the routes could not be counted before the upgrade",
        ),
        (
            6_000,
            None,
            0,
            Outcome.INCONCLUSIVE,
            "the routes could not be counted after the upgrade",
        ),
    ],
)
def test_routes_are_counted_before_and_after(
    before: int | None, after: int | None, lost: int, outcome: Outcome, reason: str
) -> None:
    history = RouteHistory("egp", "p5>p6", 6_000, before, after, after)
    assert judge_routes(history, budget=RouteBudget(lost)) == Verdict(outcome, reason)


@pytest.mark.parametrize(
    ("seen", "outcome", "reason"),
    [
        (dut("5.2.0"), Outcome.PASS, "runs 5.2.0 after 31.0 s"),
        (dut("5.1.0"), Outcome.FAIL, "fell back to 5.1.0, wanted 5.2.0"),
        (
            dut("5.1.0", problem="activation failed"),
            Outcome.FAIL,
            "fell back to 5.1.0, wanted 5.2.0: activation failed",
        ),
        (dut("5.1.9"), Outcome.FAIL, "runs 5.1.9, not 5.2.0"),
        (dut(None, upgrade_ns=None), Outcome.FAIL, "never came back with 5.2.0"),
        (
            dut(None, upgrade_ns=None, problem="no answer since 40 s"),
            Outcome.FAIL,
            "never came back with 5.2.0: no answer since 40 s",
        ),
        (
            dut("5.2.0", upgrade_ns=None),
            Outcome.FAIL,
            "runs 5.2.0, but never said that its upgrade had finished",
        ),
        (
            dut("5.2.0", problem="one slot is missing"),
            Outcome.FAIL,
            "runs 5.2.0: one slot is missing",
        ),
        (
            dut(None),
            Outcome.INCONCLUSIVE,
            "could not be asked whether it runs 5.2.0, although it had finished its upgrade",
        ),
        (
            dut("5.1.0", activated_ns=None, upgrade_ns=None, problem="the sum is wrong"),
            Outcome.FAIL,
            "stayed on 5.1.0, wanted 5.2.0: the sum is wrong",
        ),
        (
            dut("5.1.0", activated_ns=None, upgrade_ns=None),
            Outcome.INCONCLUSIVE,
            "stayed on 5.1.0, wanted 5.2.0, but the upgrade was not seen through",
        ),
        (
            dut(None, activated_ns=None, upgrade_ns=None),
            Outcome.INCONCLUSIVE,
            "could not be asked whether it runs 5.2.0, but the upgrade was not seen through",
        ),
    ],
)
def test_a_device_must_run_the_new_release_and_say_that_it_is_done(
    seen: DutObservation, outcome: Outcome, reason: str
) -> None:
    verdict = judge_release(seen, target_release="5.2.0", broke_off=False)
    assert verdict == Verdict(outcome, reason)


def test_a_bench_that_gave_up_early_says_nothing_about_the_device() -> None:
    verdict = judge_release(dut(None, upgrade_ns=None), target_release="5.2.0", broke_off=True)
    assert verdict == Verdict(
        Outcome.INCONCLUSIVE,
        "never came back with 5.2.0, but the upgrade was not seen through",
    )


def test_a_clean_bench_passes() -> None:
    early = [
        ("l2 p1>p2", EarlyImpairment(15_000, 0, 0, 0), 120),
        ("l2 p2>p1", EarlyImpairment(15_001, 0, 0, 0), 120),
    ]
    assert judge_steady(early) == Verdict(
        Outcome.PASS,
        "30 001 frames on 2 streams before the upgrade, none lost, repeated or out of order",
    )


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        (EarlyImpairment(15_000, 3, 0, 0), "lost 3, repeated 0 and reordered 0"),
        (EarlyImpairment(15_000, 0, 1, 0), "lost 0, repeated 1 and reordered 0"),
        (EarlyImpairment(15_000, 0, 0, 2), "lost 0, repeated 0 and reordered 2"),
    ],
)
def test_loss_before_the_upgrade_is_an_error_of_the_bench(
    seen: EarlyImpairment, words: str
) -> None:
    early = [("l2 p1>p2", EarlyImpairment(15_000, 0, 0, 0), 120), ("l2 p2>p1", seen, 120)]
    assert judge_steady(early) == Verdict(
        Outcome.ERROR, f"l2 p2>p1 {words} of 15 000 frames before the upgrade: a bench fault"
    )


def test_a_destination_that_was_never_visited_is_an_error_of_the_bench() -> None:
    early = [("egp p5>p6", EarlyImpairment(5_999, 0, 0, 0), 6_000)]
    assert judge_steady(early) == Verdict(
        Outcome.ERROR,
        "egp p5>p6 visited 5 999 of 6 000 destinations before the upgrade: a bench fault",
    )


def test_no_stream_at_all_says_nothing_about_the_bench() -> None:
    assert judge_steady([]) == Verdict(
        Outcome.INCONCLUSIVE, "no frame was counted before the upgrade"
    )
