"""A plan is made of what the files say, or refused with every reason at once."""

from dataclasses import replace

import pytest

from qualify.plan.limit import Limit
from qualify.plan.planner import PlanRefusedError, plan_run
from qualify.plan.trial import Plan
from qualify.testbed.case import Case, PathBudget, StreamSpec
from qualify.testbed.image import UpgradeMethod, VirtualBehaviour
from qualify.testbed.testbed import PathKind
from tests.sample import CASE, TESTBED, THREE_TIERS, image

NO_LIMIT = Limit(sent_pps=None, received_pps=None)


def plan(*cases: Case, limit: Limit = NO_LIMIT, trials: int | None = None) -> Plan:
    return plan_run(
        TESTBED,
        cases,
        target=image("5.2.0"),
        source=image("5.1.0"),
        limit=limit,
        trials=trials,
    )


def test_each_path_gets_a_stream_in_each_direction() -> None:
    streams = plan(CASE).trials[0].streams

    assert [(stream.number, stream.path, stream.direction) for stream in streams] == [
        (0, "l2", "p1>p2"),
        (1, "l2", "p2>p1"),
        (2, "igp", "p3>p4"),
        (3, "igp", "p4>p3"),
        (4, "egp", "p5>p6"),
        (5, "egp", "p6>p5"),
    ]


def test_a_routed_stream_visits_every_route_behind_the_receiving_port() -> None:
    stream = plan(CASE).trials[0].streams[3]

    assert [each.name for each in stream.destinations] == [
        "198.18.65.0/30",
        "198.18.65.4/30",
        "198.18.65.8/30",
    ]
    assert [str(each.source) for each in stream.destinations] == [
        "198.19.65.1",
        "198.19.65.5",
        "198.19.65.1",
    ]
    assert stream.destinations[0].target_mac is None


def test_a_switched_stream_visits_every_host_at_the_receiving_port() -> None:
    destination = plan(CASE).trials[0].streams[0].destinations[2]

    assert destination.source_mac == "02:00:01:00:00:02"
    assert destination.target_mac == destination.name == "02:00:01:01:00:02"


def test_trials_are_numbered_and_can_be_overridden() -> None:
    assert [trial.name for trial in plan(CASE).trials] == [
        "mixed-one-tier-trial1",
        "mixed-one-tier-trial2",
    ]
    assert len(plan(CASE, trials=5).trials) == 5


def test_O_RT_05_traffic_is_steady_for_15_seconds_at_least() -> None:
    """RFC 6201 §4: forwarding verified for at least 15 s before the trigger."""
    assert plan(CASE).trials[0].steady_ns == 15_000_000_000


def test_steady_traffic_visits_every_destination_once() -> None:
    slow = replace(
        CASE,
        paths=("egp",),
        stream=StreamSpec(1, 128),
        budgets={"egp": PathBudget(10_000_000_000)},
    )
    many = replace(TESTBED, paths=(*TESTBED.paths[:2], replace(TESTBED.paths[2], routes=40)))
    planned = plan_run(many, [slow], target=image("5.2.0"), source=image("5.1.0"), limit=NO_LIMIT)

    assert planned.trials[0].steady_ns == 20_000_000_000


@pytest.mark.parametrize(("rate_pps", "recover_s"), [(100, 50), (10_000, 5)])
def test_O_LOC_08_recovery_holds_for_five_frames_to_every_destination(
    rate_pps: int, recover_s: int
) -> None:
    """RFC 6412 §3.7.5: 1000 destinations at 100 pps take 50 s; at 10 000 pps 5 s are enough."""
    many = replace(TESTBED, paths=(replace(TESTBED.paths[2], routes=2_000),))
    case = replace(CASE, paths=("egp",), stream=StreamSpec(rate_pps, 128))
    planned = plan_run(many, [case], target=image("5.2.0"), source=image("5.1.0"), limit=NO_LIMIT)

    assert planned.trials[0].recover_ns == recover_s * 1_000_000_000


def test_a_virtual_upgrade_is_watched_until_the_kept_routes_are_swept() -> None:
    graceful = replace(
        image("5.2.0"),
        behaviour=VirtualBehaviour(UpgradeMethod.GRACEFUL, boot_s=0, kept_routes_s=15),
    )
    planned = plan_run(TESTBED, [CASE], target=graceful, source=image("5.1.0"), limit=NO_LIMIT)

    assert planned.trials[0].settle_ns == 18_000_000_000


def test_a_case_for_more_tiers_is_left_out_with_the_reason() -> None:
    three = replace(CASE, name="mixed-three-tier", tiers=3)
    planned = plan(CASE, three)

    assert {trial.case.name for trial in planned.trials} == {"mixed-one-tier"}
    assert planned.left_out == ((three, "made for 3 tiers, this testbed has one tier"),)


def test_a_rate_beyond_the_backend_is_refused_with_the_rate_that_would_do() -> None:
    with pytest.raises(
        PlanRefusedError,
        match=r"^cases/mixed-one-tier.yaml stream.offered_load_pps: 6 streams of 1 000 frames/s "
        r"are 6 000 frames/s, and the traffic backend 'simulated' can do 4 000 in all\n"
        r"  fix: offer at most 666 frames/s on each stream$",
    ):
        plan(CASE, limit=Limit(sent_pps=5_000, received_pps=4_000))


def test_a_budget_that_no_trial_can_prove_is_refused_with_the_rate_that_could() -> None:
    strict = replace(CASE, budgets={**CASE.budgets, "igp": PathBudget(400_000)})

    with pytest.raises(
        PlanRefusedError,
        match=r"^cases/mixed-one-tier.yaml budgets.igp.outage_ms: an outage budget of 0.4 ms "
        r"cannot be proven at 1 000 frames/s, where one frame stands for 1.0 ms\n"
        r"  fix: offer at least 2500 frames/s, or ten times that$",
    ):
        plan(strict)


def test_all_objections_are_shown_at_once() -> None:
    strict = replace(CASE, budgets={**CASE.budgets, "igp": PathBudget(400_000)})

    with pytest.raises(PlanRefusedError) as caught:
        plan(strict, CASE, limit=Limit(sent_pps=100, received_pps=None))

    assert str(caught.value).count("fix:") == 3


def test_each_port_of_a_routed_path_gets_a_peer() -> None:
    peers = plan(CASE).peers

    assert [(peer.port, peer.protocol, peer.expected_routes) for peer in peers] == [
        ("p3", "ospf", 2),
        ("p4", "ospf", 3),
        ("p5", "bgp", 4),
        ("p6", "bgp", 4),
    ]
    assert [peer.local_as for peer in peers] == [65101, 65102, 65103, 65104]
    assert {peer.dut_as for peer in peers} == {65000}
    assert peers[0].kind is PathKind.IGP


def test_every_device_has_an_autonomous_system_of_its_own() -> None:
    planned = plan_run(
        THREE_TIERS,
        [replace(CASE, tiers=3)],
        target=image("5.2.0"),
        source=image("5.1.0"),
        limit=NO_LIMIT,
    )

    assert [peer.dut_as for peer in planned.peers] == [65000, 65002, 65000, 65002]
