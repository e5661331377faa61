"""Failures come first, each with the check that it belongs to."""

from dataclasses import replace

from qualify.record.model import PathRecord, Record, StreamRecord, TrialRecord
from qualify.report.findings import (
    find_failures,
    group_streams,
    order_neighbors,
    order_routes,
)
from qualify.verdict.verdict import Outcome


def test_a_run_without_failures_has_none(good_record: Record) -> None:
    assert find_failures(good_record) == ()


def test_every_check_that_did_not_pass_is_named(bad_record: Record) -> None:
    (failed,) = find_failures(bad_record)
    assert failed.trial.trial == 2
    assert [finding.subject for finding in failed.findings] == [
        "loss on egp, p5 → p6",
        "routes of egp, p5 → p6",
    ]


def test_neighbors_devices_and_the_steady_bench_are_checks_too(
    good_record: Record, good_trial: TrialRecord
) -> None:
    trial = replace(
        good_trial,
        verdict=Outcome.ERROR,
        steady_verdict=Outcome.ERROR,
        steady_reason="l2 p1>p2 lost 3 frames before the upgrade",
        duts=(replace(good_trial.duts[0], verdict=Outcome.FAIL, reason="fell back to 5.1.0"),),
        neighbors=(
            replace(good_trial.neighbors[0], verdict=Outcome.INCONCLUSIVE, reason="no answer"),
        ),
    )
    (failed,) = find_failures(replace(good_record, trials=(trial,)))
    assert [(found.outcome.value, found.subject, found.reason) for found in failed.findings] == [
        ("fail", "release of d1", "fell back to 5.1.0"),
        ("error", "bench before the upgrade", "l2 p1>p2 lost 3 frames before the upgrade"),
        ("inconclusive", "ospf neighbor seen from p3", "no answer"),
    ]


def test_failed_trials_come_before_inconclusive_ones(
    good_record: Record, good_trial: TrialRecord, bad_trial: TrialRecord
) -> None:
    doubtful = replace(good_trial, verdict=Outcome.INCONCLUSIVE)
    failures = find_failures(replace(good_record, trials=(doubtful, good_trial, bad_trial)))
    assert [each.trial.verdict.value for each in failures] == ["fail", "inconclusive"]


def test_streams_are_grouped_by_protocol_with_failures_first(bad_record: Record) -> None:
    groups = group_streams(bad_record)
    assert [group.title for group in groups] == [
        "Switching (L2)",
        "Interior routing (IGP, OSPF)",
        "Exterior routing (EGP, BGP)",
    ]
    assert [(row.trial.trial, row.part.direction) for row in groups[2].rows] == [
        (2, "p5>p6"),
        (1, "p5>p6"),
        (1, "p6>p5"),
        (2, "p6>p5"),
        (3, "p5>p6"),
        (3, "p6>p5"),
    ]


def test_a_kind_of_path_that_is_not_known_yet_has_its_own_group(
    good_record: Record, good_trial: TrialRecord, clean_stream: StreamRecord
) -> None:
    tunnel = replace(clean_stream, kind="tunnel")
    record = replace(
        good_record,
        trials=(replace(good_trial, streams=(tunnel, clean_stream)),),
        testbed=replace(
            good_record.testbed, paths=(PathRecord("t", "tunnel", None, (), None, None),)
        ),
    )
    assert [group.title for group in group_streams(record)] == ["Switching (L2)", "tunnel"]


def test_routes_and_neighbors_come_failures_first_and_unjudged_last(
    bad_record: Record, good_trial: TrialRecord
) -> None:
    unjudged = replace(
        good_trial,
        routes=(replace(good_trial.routes[0], verdict=None),),
        neighbors=(replace(good_trial.neighbors[0], verdict=None),),
    )
    record = replace(bad_record, trials=(unjudged, *bad_record.trials))
    routes, neighbors = order_routes(record), order_neighbors(record)
    assert routes[0].part.verdict is Outcome.FAIL
    assert routes[-1].part.verdict is None
    assert neighbors[-1].part.verdict is None
    assert len(neighbors) == 13
