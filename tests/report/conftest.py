"""Invented records: a good release, a bad one, and the parts to make others of."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from qualify.record.model import (
    BudgetRecord,
    CaseRecord,
    DecisionWord,
    DestinationRecord,
    DutRecord,
    ImageRecord,
    LossPeriodRecord,
    MachineRecord,
    NeighborRecord,
    PathRecord,
    PhaseRecord,
    Record,
    RouteRecord,
    StreamRecord,
    TestbedRecord,
    ToolRecord,
    TrialRecord,
)
from qualify.verdict.verdict import Outcome

START_NS = 1_773_479_700_000_000_000  # 2026-03-14 09:15:00 UTC
S = 1_000_000_000
PHASES = (
    ("check", 2),
    ("steady", 16),
    ("install", 4),
    ("activate", 1),
    ("verify", 13),
    ("recover", 22),
    ("count", 2),
    ("compare", 1),
    ("restore", 18),
)
DIRECTIONS = (
    ("l2", "p1>p2"),
    ("l2", "p2>p1"),
    ("igp", "p3>p4"),
    ("igp", "p4>p3"),
    ("egp", "p5>p6"),
    ("egp", "p6>p5"),
)


@pytest.fixture
def clean_stream() -> StreamRecord:
    """Six hundred thousand frames, none lost, one frame every 0.1 ms."""
    return StreamRecord(
        path="l2",
        kind="l2",
        direction="p1>p2",
        intended_pps=10_000,
        offered_pps=9_999.87,
        frame_octets=128,
        sent=600_000,
        received=600_000,
        lost=0,
        duplicate=0,
        reordered=0,
        loss_periods=0,
        outage_ns=0,
        outage_low_ns=0,
        outage_high_ns=100_000,
        longest_ns=0,
        receive_gap_ns=None,
        max_delay_ns=1_412_345,
        tester_dropped=0,
        budget_ns=50_000_000,
        verdict=Outcome.PASS,
        reason="no loss (outage below 0.1 ms), budget 50.0 ms",
        longest_stall_ns=820_000,
        destinations=120,
        destinations_with_loss=0,
        reaches_edge=False,
    )


@pytest.fixture
def lossy_stream(clean_stream: StreamRecord) -> StreamRecord:
    """The same with 613 frames lost in one loss period: 61.3 ms, over its budget."""
    return replace(
        clean_stream,
        path="egp",
        kind="egp",
        direction="p5>p6",
        received=599_387,
        lost=613,
        loss_periods=1,
        outage_ns=61_300_000,
        outage_low_ns=61_200_000,
        outage_high_ns=61_400_000,
        longest_ns=61_300_000,
        receive_gap_ns=61_452_000,
        verdict=Outcome.FAIL,
        reason="lost 613 of 600 000 frames: outage 61.3 ms (61.2 to 61.4 ms), budget 50.0 ms",
        destinations=6_000,
        destinations_with_loss=613,
        worst_destinations=tuple(
            DestinationRecord(f"198.19.65.{4 * n}/30", 100, 1, 0, 1_200_000_000) for n in range(20)
        ),
        loss_period_details=(
            LossPeriodRecord(300_104, 613, START_NS + 25 * S, 61_200_000, 61_400_000),
        ),
    )


@pytest.fixture
def good_trial(clean_stream: StreamRecord) -> TrialRecord:
    """A trial in which nothing was lost."""
    streams = tuple(
        replace(clean_stream, path=path, kind=path, direction=direction)
        for path, direction in DIRECTIONS
    )
    return TrialRecord(
        case="mixed-one-tier",
        trial=1,
        order="simultaneous",
        verdict=Outcome.PASS,
        reason="all 14 checks passed",
        phases=_phases(),
        duts=(
            DutRecord(
                name="d1",
                tier=1,
                release_before="5.1.0",
                release_after="5.2.0-rc3",
                upgrade_ns=12_345_678_901,
                dropped_frames=0,
                verdict=Outcome.PASS,
                reason="runs 5.2.0-rc3 after 12.4 s",
            ),
        ),
        streams=streams,
        routes=_routes(),
        neighbors=_neighbors(),
        steady_verdict=Outcome.PASS,
        steady_reason="900 000 frames on 6 streams before the upgrade, none lost",
    )


@pytest.fixture
def bad_trial(good_trial: TrialRecord, lossy_stream: StreamRecord) -> TrialRecord:
    """The same, but one EGP direction lost frames and a route was missing afterwards."""
    *others, egp, back = good_trial.streams
    assert egp.direction == "p5>p6"
    routes = tuple(
        replace(
            each,
            lowest=5_790,
            after=5_999,
            routes_with_loss=613,
            worst_outage_ns=1_200_000_000,
            verdict=Outcome.FAIL,
            reason="1 of 6 000 routes missing afterwards, none allowed",
        )
        if each.direction == "p5>p6"
        else each
        for each in good_trial.routes
    )
    return replace(
        good_trial,
        trial=2,
        verdict=Outcome.FAIL,
        reason="egp p5>p6: lost 613 of 600 000 frames; fail in 2 of 14 checks",
        streams=(*others, lossy_stream, back),
        routes=routes,
        duts=(replace(good_trial.duts[0], dropped_frames=613),),
    )


@pytest.fixture
def good_record(good_trial: TrialRecord) -> Record:
    """A release that qualified in three trials on a virtual testbed."""
    return Record(
        run="20260314T091500Z",
        started=datetime(2026, 3, 14, 9, 15, tzinfo=UTC),
        finished=datetime(2026, 3, 14, 9, 19, 8, tzinfo=UTC),
        train="5.2",
        release="5.2.0-rc3",
        from_release="5.1.0",
        verdict=DecisionWord.QUALIFIED,
        reason="3 required trials of 1 case passed, none failed",
        testbed=_testbed(),
        tool=ToolRecord("0.1.0"),
        machine=MachineRecord(
            "Linux 6.1.0-28-amd64", "x86_64", 2, "3.11.2", {"numpy": "2.4.6", "pytest": "9.0.1"}
        ),
        trials=tuple(replace(good_trial, trial=number) for number in (1, 2, 3)),
        image=ImageRecord("tern6-5.2.0-rc3", "Ostrevane", "Tern 6", "5.2", "5.2.0-rc3", "0f" * 32),
        cases=(_case(),),
    )


@pytest.fixture
def bad_record(good_record: Record, good_trial: TrialRecord, bad_trial: TrialRecord) -> Record:
    """A release of which the second of three trials failed."""
    return replace(
        good_record,
        run="20260315T220000Z",
        started=datetime(2026, 3, 15, 22, 0, tzinfo=UTC),
        finished=datetime(2026, 3, 15, 22, 4, tzinfo=UTC),
        release="5.2.0-rc4",
        verdict=DecisionWord.NOT_QUALIFIED,
        reason="mixed-one-tier, trial 2 failed: egp p5>p6 lost 613 of 600 000 frames",
        trials=(good_trial, bad_trial, replace(good_trial, trial=3)),
    )


def _phases() -> tuple[PhaseRecord, ...]:
    found: list[PhaseRecord] = []
    now_ns = START_NS
    for name, seconds in PHASES:
        found.append(PhaseRecord(name, now_ns, now_ns + seconds * S))
        now_ns += seconds * S
    return tuple(found)


def _routes() -> tuple[RouteRecord, ...]:
    counts = (("igp", "p3>p4", 1_500), ("igp", "p4>p3", 1_500), ("egp", "p5>p6", 6_000))
    return tuple(
        RouteRecord(
            path=path,
            direction=direction,
            advertised=count,
            before=count,
            lowest=count,
            after=count,
            routes_with_loss=0,
            worst_outage_ns=600_000_000,
            verdict=Outcome.PASS,
            reason="none missing afterwards, none allowed",
        )
        for path, direction, count in (*counts, ("egp", "p6>p5", 6_000))
    )


def _neighbors() -> tuple[NeighborRecord, ...]:
    sessions = (
        ("igp", "p3", "ospf", "Full", 40),
        ("igp", "p4", "ospf", "Full", 40),
        ("egp", "p5", "bgp", "Established", 90),
        ("egp", "p6", "bgp", "Established", 90),
    )
    return tuple(
        NeighborRecord(
            path=path,
            observer=observer,
            protocol=protocol,
            before=state,
            after=state,
            flaps=0,
            graceful_restarts=1,
            longest_silence_ns=None,
            hold_ns=hold_s * S,
            verdict=Outcome.PASS,
            reason=f"{state} afterwards, 1 graceful restart, as allowed",
        )
        for path, observer, protocol, state, hold_s in sessions
    )


def _testbed() -> TestbedRecord:
    return TestbedRecord(
        name="quay-one-tier",
        kind="virtual",
        sha256="7a" * 32,
        traffic="scapy",
        tiers=1,
        paths=(
            PathRecord("l2", "l2", None, ("p1", "p2"), 120, None),
            PathRecord("igp", "igp", "ospf", ("p3", "p4"), None, 3_000),
            PathRecord("egp", "egp", "bgp", ("p5", "p6"), None, 12_000),
        ),
    )


def _case() -> CaseRecord:
    return CaseRecord(
        case="mixed-one-tier",
        required_trials=3,
        order="simultaneous",
        tiers=1,
        offered_load_pps=10_000,
        frame_octets=128,
        budgets=tuple(BudgetRecord(path, 50_000_000) for path in ("l2", "igp", "egp")),
        allowed_flaps=0,
        graceful_restarts_allowed=True,
        allowed_lost_routes=0,
        sha256="cc" * 32,
    )
