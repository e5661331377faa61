"""What a self-check saw decides what is refused before it starts, with the numbers and the fix."""

from dataclasses import replace

import pytest

from qualify.plan.capability import Capability
from qualify.plan.limit import Limit
from qualify.plan.planner import PlanRefusedError, plan_run
from qualify.testbed.case import Case, PathBudget, StreamSpec
from tests.sample import CASE, TESTBED, image

SEEN = Capability(
    backend="scapy",
    measured_on="2026-11-25",
    streams=6,
    frame_octets=128,
    rate_pps=600,
    longest_stall_ns=3_000_000,
    p99_stall_ns=200_000,
)


def case(*, rate_pps: int, budget_ns: int = 50_000_000, paths: tuple[str, ...] = ("l2",)) -> Case:
    return replace(
        CASE,
        paths=paths,
        stream=StreamSpec(rate_pps, 128),
        budgets={path: PathBudget(budget_ns) for path in paths},
    )


def refusals(*cases: Case, limit: Limit) -> list[str]:
    try:
        plan_run(TESTBED, cases, target=image("5.2.0"), source=image("5.1.0"), limit=limit)
    except PlanRefusedError as refused:
        return [str(reason) for reason in refused.reasons]
    return []


def seen(*, own_pps: int | None = None, capability: Capability = SEEN) -> Limit:
    return Limit(own_pps, None, capability)


def test_the_smallest_budget_is_one_interval_and_the_longest_stall() -> None:
    """RFC 6201 §3: no loss means an outage below one interval; a late frame makes it longer."""
    assert SEEN.smallest_budget_ns(1_000) == 4_000_000
    assert SEEN.smallest_budget_ns(600) == 4_666_667


def test_a_case_within_what_was_seen_is_planned() -> None:
    assert refusals(case(rate_pps=1_800), limit=seen()) == []


def test_a_rate_that_was_not_seen_without_loss_is_refused_with_the_rate_that_was() -> None:
    assert refusals(case(rate_pps=2_000), limit=seen(own_pps=4_000)) == [
        "cases/mixed-one-tier.yaml stream.offered_load_pps: 2 streams of 2 000 frames/s are "
        "4 000 frames/s, and the self-check of 2026-11-25 sent 3 600 in all without loss with "
        "'scapy' on this machine\n"
        "  fix: offer at most 1800 frames/s on each stream, or check again on a quieter machine: "
        "qualify measure --self-check testbeds/sample.yaml"
    ]


def test_what_the_division_into_whole_frames_takes_off_is_not_held_against_a_case() -> None:
    third = replace(SEEN, rate_pps=666)

    assert refusals(case(rate_pps=2_000), limit=seen(own_pps=4_000, capability=third)) == []
    assert refusals(case(rate_pps=2_001), limit=seen(capability=third)) != []


@pytest.mark.parametrize(
    ("own_pps", "speaks"), [(4_000, "sent 3 600 in all"), (3_000, "can do 3 000 in all")]
)
def test_of_the_backend_s_limit_and_the_seen_one_the_lower_is_named(
    own_pps: int, speaks: str
) -> None:
    (reason,) = refusals(case(rate_pps=3_000), limit=seen(own_pps=own_pps))

    assert speaks in reason


def test_a_budget_that_the_seen_stall_can_break_is_refused_with_the_smallest_that_holds() -> None:
    strict = case(rate_pps=1_000, budget_ns=3_900_000)

    assert refusals(strict, limit=seen()) == [
        "cases/mixed-one-tier.yaml budgets.l2.outage_ms: an outage budget of 3.9 ms cannot be "
        "proven on this machine: at 1 000 frames/s one frame stands for 1.0 ms, and in the "
        "self-check of 2026-11-25 'scapy' sent a frame 3.0 ms late\n"
        "  fix: allow at least 4.0 ms, or check again on a quieter machine: "
        "qualify measure --self-check testbeds/sample.yaml"
    ]
    assert refusals(case(rate_pps=1_000, budget_ns=4_000_000), limit=seen()) == []


def test_a_budget_below_one_interval_is_refused_once() -> None:
    (reason,) = refusals(case(rate_pps=1_000, budget_ns=900_000), limit=seen())

    assert "cannot be proven at 1 000 frames/s" in reason


def test_every_path_and_every_reason_is_named() -> None:
    both = case(rate_pps=1_000, budget_ns=2_000_000, paths=("l2", "igp"))

    reasons = refusals(both, limit=seen())

    assert [reason.split(": ")[0].split()[-1] for reason in reasons] == [
        "stream.offered_load_pps",
        "budgets.l2.outage_ms",
        "budgets.igp.outage_ms",
    ]


def test_without_a_self_check_nothing_else_is_refused() -> None:
    limit = Limit(None, None)

    assert refusals(case(rate_pps=1_000, budget_ns=1_000_000), limit=limit) == []
