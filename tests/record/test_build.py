"""A run that was judged becomes a record that keeps its figures, verdicts and evidence."""

from dataclasses import replace
from decimal import Decimal
from ipaddress import IPv4Address
from pathlib import Path as FilePath

import pytest

from qualify.measure.capture import Doubt, DoubtKind
from qualify.measure.figures import DestinationLoss, LossPeriod, StreamFigures
from qualify.measure.observation import (
    DutObservation,
    NeighborChange,
    NeighborEvent,
    NeighborHistory,
    Observation,
    PhaseSpan,
    PortCount,
    RouteHistory,
)
from qualify.plan.stream import Destination, Stream
from qualify.plan.trial import Plan, TrialPlan
from qualify.record.build import RunFacts, build_record
from qualify.record.build_trial import record_trial
from qualify.record.codec import encode
from qualify.record.model import BudgetRecord, DecisionWord, DoubtRecord, MachineRecord
from qualify.testbed.case import (
    Case,
    NeighborBudget,
    Order,
    PathBudget,
    RouteBudget,
    StreamSpec,
)
from qualify.testbed.image import Image, SimulatedBehaviour, SimulatedOutcome
from qualify.testbed.testbed import Attachment, BenchKind, Dut, Path, PathKind, Port, Testbed
from qualify.testbed.testbed import Tester as TrafficTester  # else pytest takes it for a test
from qualify.verdict.assessment import (
    Decision,
    DutAssessment,
    NeighborAssessment,
    RouteAssessment,
    StreamAssessment,
    TrialAssessment,
)
from qualify.verdict.verdict import Outcome, Verdict

START_NS = 1_773_479_700_123_456_789  # 2026-03-14 09:15:00.123456789 UTC
FACTS = RunFacts(
    run="20260314T091500Z",
    started_ns=START_NS,
    finished_ns=START_NS + 400_000_000_000,
    version="0.1.0",
    machine=MachineRecord(kernel="Linux 6.1.0", cpus=2),
)
QUALIFIED = Decision("qualified", "1 of 1 required trials passed")
PASS = Verdict(Outcome.PASS, "all is well")
FAIL = Verdict(Outcome.FAIL, "48.3 ms of 40.0 ms")

EGP = Path("egp", PathKind.EGP, "bgp", ("p5", "p6"), None, 3)
CASE = Case(
    name="egp-one-tier",
    paths=("egp",),
    tiers=1,
    order=Order.SIMULTANEOUS,
    trials=1,
    stream=StreamSpec(10_000, 128),
    budgets={"egp": PathBudget(40_000_000)},
    neighbors=NeighborBudget(flaps=0, graceful_restarts_allowed=True),
    routes=RouteBudget(lost=0),
    file=FilePath("cases/egp-one-tier.yaml"),
    sha256="cc",
)
TESTBED = Testbed(
    name="quay-one-tier",
    kind=BenchKind.VIRTUAL,
    tester=TrafficTester(
        "scapy", (Port("p5", Attachment("d1", "e5")), Port("p6", Attachment("d1", "e6")))
    ),
    duts=(Dut("d1", 1, "virtual", "5.1.0"),),
    links=(),
    paths=(EGP,),
    images=FilePath("testbeds/images"),
    file=FilePath("testbeds/quay.yaml"),
    sha256="bb",
)
STREAM = Stream(
    number=1,
    path="egp",
    kind=PathKind.EGP,
    sender="p5",
    receiver="p6",
    destinations=tuple(
        Destination(name, IPv4Address("198.18.1.10"), IPv4Address("198.19.65.1"), None, None)
        for name in ("198.19.65.0/30", "198.19.65.4/30", "198.19.65.8/30")
    ),
    rate_pps=10_000,
    frame_octets=128,
)
FIGURES = StreamFigures(
    stream=1,
    offered_pps=9_999.123_456_789,
    sent=600_000,
    received=599_517,
    lost=483,
    duplicate=0,
    reordered=0,
    loss_periods=(LossPeriod(12_004, 483, START_NS + 5, 48_200_001, 48_400_000),),
    outage_ns=48_300_000,
    outage_low_ns=48_200_000,
    outage_high_ns=48_400_000,
    longest_ns=48_300_000,
    receive_gap_ns=48_412_345,
    max_delay_ns=None,
    tester_dropped=0,
    longest_stall_ns=None,
    destinations=(DestinationLoss(2, 200_000, 161, 48_000_000, 48_600_000),),
)
OBSERVATION = Observation(
    phases=(PhaseSpan("check", START_NS, START_NS + 1),),
    captures=(),
    neighbors=(),
    routes=(),
    duts=(),
    problem="",
)
DUT = DutObservation(
    name="d1",
    tier=1,
    release_before="5.1.0",
    release_after="5.2.0-rc3",
    upgrade_ns=12_345_678_901,
    problem="",
    ports=(PortCount("e5", 600_000, 600_000), PortCount("e6", 600_000, 599_517)),
    activated_ns=START_NS + 20,
)
NEIGHBOR = NeighborHistory(
    path="egp",
    observer="p5",
    protocol="bgp",
    up_state="Established",
    hold_ns=90_000_000_000,
    before="Established",
    after=None,
    events=(NeighborEvent(START_NS, NeighborChange.RESTARTING, "waiting for the neighbor"),),
)
ROUTES = RouteHistory("egp", "p5>p6", 3, 3, None, 2)


def an_image(release: str) -> Image:
    return Image(
        name=f"tern6-{release}",
        maker="Ostrevane",
        model="Tern 6",
        train=release[:3],
        release=release,
        driver="virtual",
        payload=FilePath("image.bin"),
        sha256=f"sum of {release}",
        behaviour=SimulatedBehaviour(SimulatedOutcome.UPGRADED, 1, {}, {}, {}),
        file=FilePath("image.yaml"),
    )


def a_trial(number: int = 1) -> TrialAssessment:
    return TrialAssessment(
        plan=TrialPlan(CASE, number, (STREAM,), 1, 1, 1, 1),
        observation=OBSERVATION,
        steady=PASS,
        streams=(StreamAssessment(STREAM, FIGURES, 40_000_000, FAIL),),
        neighbors=(NeighborAssessment(NEIGHBOR, 0, 1, PASS),),
        routes=(RouteAssessment(ROUTES, 1, 48_600_000, FAIL),),
        duts=(DutAssessment(DUT, PASS),),
        verdict=FAIL,
    )


def a_plan(trials: int = 1) -> Plan:
    return Plan(
        testbed=TESTBED,
        target=an_image("5.2.0-rc3"),
        source=an_image("5.1.0"),
        addresses={},
        peers=(),
        trials=tuple(TrialPlan(CASE, number + 1, (), 1, 1, 1, 1) for number in range(trials)),
        left_out=((replace(CASE, name="two-tier"), "the testbed has 1 tier"),),
    )


def test_the_run_is_described() -> None:
    record = build_record(a_plan(), (a_trial(),), QUALIFIED, FACTS)
    assert record.run == "20260314T091500Z"
    assert record.started.isoformat() == "2026-03-14T09:15:00.123456+00:00"
    assert record.finished is not None
    assert record.finished.isoformat() == "2026-03-14T09:21:40.123456+00:00"
    assert (record.train, record.release, record.from_release) == ("5.2", "5.2.0-rc3", "5.1.0")
    assert (record.verdict, record.reason) == (
        DecisionWord.QUALIFIED,
        "1 of 1 required trials passed",
    )
    assert (record.testbed.name, record.testbed.kind, record.testbed.sha256) == (
        "quay-one-tier",
        "virtual",
        "bb",
    )
    assert (record.testbed.traffic, record.testbed.tiers) == ("scapy", 1)
    assert record.testbed.paths[0].routes == 3
    assert record.image is not None
    assert (record.image.maker, record.image.model) == ("Ostrevane", "Tern 6")
    assert record.image.sha256 == "sum of 5.2.0-rc3"
    assert record.tool.version == "0.1.0"


def test_the_case_is_kept_so_that_it_can_be_judged_again() -> None:
    record = build_record(a_plan(trials=3), (a_trial(),), QUALIFIED, FACTS)
    (case,) = record.cases
    assert (case.case, case.required_trials, case.sha256) == ("egp-one-tier", 3, "cc")
    assert case.budgets == (BudgetRecord("egp", 40_000_000),)
    assert (case.allowed_flaps, case.graceful_restarts_allowed, case.allowed_lost_routes) == (
        0,
        True,
        0,
    )
    assert record.left_out[0].case == "two-tier"
    assert record.left_out[0].reason == "the testbed has 1 tier"


def test_the_frames_of_a_run_are_kept_size_by_size() -> None:
    record = build_record(a_plan(trials=1), (a_trial(),), QUALIFIED, FACTS)
    (stream,) = record.trials[0].streams
    assert (stream.frame_octets, stream.frame_sizes) == (128, (128,))
    assert (record.cases[0].frame_octets, record.cases[0].frame_sizes) == (128, (128,))
    (path,) = record.testbed.paths
    assert (path.headers, path.vlans) == ("ipv4", ())


def test_a_mix_is_kept_with_its_first_size_as_the_frame_size() -> None:
    trial = a_trial()
    assessed = replace(
        trial.streams[0], stream=replace(STREAM, frame_octets=64, mix=(64, 1518, 64))
    )
    (stream,) = record_trial(replace(trial, streams=(assessed,))).streams
    assert (stream.frame_octets, stream.frame_sizes) == (64, (64, 1518, 64))


def test_the_figures_of_a_stream_are_kept_exactly() -> None:
    (stream,) = record_trial(a_trial()).streams
    encoded = encode(stream)
    assert encoded["outage_ms"] == Decimal("48.3")
    assert encoded["outage_low_ms"] == Decimal("48.2")
    assert encoded["receive_gap_ms"] == Decimal("48.412345")
    assert encoded["budget_ms"] == Decimal(40)
    assert encoded["offered_pps"] == Decimal("9999.123")
    assert encoded["max_delay_ms"] is None
    assert encoded["longest_stall_ms"] is None
    assert (stream.sent, stream.received, stream.lost) == (600_000, 599_517, 483)
    assert (stream.path, stream.kind, stream.direction) == ("egp", "egp", "p5>p6")
    assert (stream.verdict, stream.reason) == (Outcome.FAIL, "48.3 ms of 40.0 ms")


def test_what_the_tester_did_is_kept_with_the_figure_that_speaks() -> None:
    stall = Doubt(DoubtKind.STALL, None, 3_000_001, "the sender stalled for 3.1 ms")
    figures = replace(
        FIGURES,
        doubts=(stall,),
        undecidable=2,
        time_low_ns=10_000_000,
        time_high_ns=20_000_000,
    )
    (stream,) = record_trial(with_figures(figures)).streams
    assert stream.doubts == (
        DoubtRecord("stall", None, 3_000_001, "the sender stalled for 3.1 ms"),
    )
    assert (stream.undecidable, stream.outage_method) == (2, "transmit-times")
    encoded = encode(stream)
    assert (encoded["time_low_ms"], encoded["time_high_ms"]) == (10, 20)
    assert encode(stream.doubts[0])["longest_ms"] == Decimal("3.000001")


def test_without_loss_no_method_speaks() -> None:
    figures = replace(FIGURES, lost=0, outage_ns=0, loss_periods=())
    assert record_trial(with_figures(figures)).streams[0].outage_method is None
    assert record_trial(with_figures(FIGURES)).streams[0].outage_method == "lost-by-rate"


def test_destinations_with_loss_are_kept_by_name() -> None:
    (stream,) = record_trial(a_trial()).streams
    assert (stream.destinations, stream.destinations_with_loss) == (3, 1)
    assert stream.worst_destinations[0].name == "198.19.65.8/30"
    assert stream.worst_destinations[0].outage_high_ns == 48_600_000


def with_figures(figures: StreamFigures) -> TrialAssessment:
    return replace(a_trial(), streams=(StreamAssessment(STREAM, figures, None, FAIL),))


def test_the_worst_twenty_destinations_are_kept_and_all_are_counted() -> None:
    losses = tuple(DestinationLoss(0, 9, 9 - rank // 3, 1, 2) for rank in range(27))
    (stream,) = record_trial(with_figures(replace(FIGURES, destinations=losses))).streams
    assert stream.destinations_with_loss == 27
    assert [loss.lost for loss in stream.worst_destinations] == [
        *(9, 9, 9, 8, 8, 8, 7, 7, 7, 6),
        *(6, 6, 5, 5, 5, 4, 4, 4, 3, 3),
    ]
    assert stream.budget_ns is None


def test_the_first_two_hundred_loss_periods_are_kept_and_all_are_counted() -> None:
    periods = tuple(LossPeriod(number, 1, number, 0, 2) for number in range(0, 602, 2))
    (stream,) = record_trial(with_figures(replace(FIGURES, loss_periods=periods))).streams
    assert stream.loss_periods == 301
    assert len(stream.loss_period_details) == 200
    assert stream.loss_period_details[199].first_lost == 398


def test_frames_that_the_device_dropped_are_the_difference_over_its_ports() -> None:
    (dut,) = record_trial(a_trial()).duts
    assert dut.dropped_frames == 483
    assert dut.activated_ns == 1_773_479_700_123_456_809
    assert encode(dut)["upgrade_s"] == Decimal("12.345678901")
    assert (dut.verdict, dut.reason) == (Outcome.PASS, "all is well")


def test_a_device_that_cannot_count_dropped_nobody_knows_how_many() -> None:
    silent = replace(DUT, ports=(), upgrade_ns=None, release_after=None, problem="never came back")
    (dut,) = record_trial(replace(a_trial(), duts=(DutAssessment(silent, FAIL),))).duts
    assert dut.dropped_frames is None
    assert dut.upgrade_ns is None
    assert dut.problem == "never came back"


def test_neighbors_and_routes_keep_what_could_not_be_read_as_unknown() -> None:
    trial = record_trial(a_trial())
    (neighbor,) = trial.neighbors
    assert (neighbor.before, neighbor.after) == ("Established", None)
    assert (neighbor.flaps, neighbor.graceful_restarts) == (0, 1)
    assert neighbor.longest_silence_ns is None
    assert neighbor.hold_ns == 90_000_000_000
    assert neighbor.events[0].words == "waiting for the neighbor"
    (routes,) = trial.routes
    assert (routes.advertised, routes.before, routes.lowest, routes.after) == (3, 3, None, 2)
    assert (routes.routes_with_loss, routes.worst_outage_ns) == (1, 48_600_000)
    assert (trial.steady_verdict, trial.steady_reason) == (Outcome.PASS, "all is well")


def test_a_deselected_case_is_left_out_and_not_required() -> None:
    record = build_record(a_plan(), (), QUALIFIED, replace(FACTS, required={}))
    assert record.cases == ()
    assert [(left.case, left.reason) for left in record.left_out] == [
        ("two-tier", "the testbed has 1 tier"),
        ("egp-one-tier", "deselected"),
    ]


def test_the_required_trials_of_the_run_go_before_the_planned_ones() -> None:
    record = build_record(a_plan(), (), QUALIFIED, replace(FACTS, required={"egp-one-tier": 5}))
    assert record.cases[0].required_trials == 5


def test_loss_at_the_edge_of_the_trial_is_marked() -> None:
    (stream,) = record_trial(a_trial()).streams
    assert stream.reaches_edge is False
    edge = replace(FIGURES, loss_periods=(replace(FIGURES.loss_periods[0], first_lost=0),))
    (stream,) = record_trial(with_figures(edge)).streams
    assert stream.reaches_edge is True


@pytest.mark.parametrize("word", ["qualified", "not proven"])
def test_an_interrupted_run_is_never_qualified(word: str) -> None:
    facts = replace(FACTS, finished_ns=None)
    record = build_record(a_plan(trials=3), (a_trial(),), Decision(word, "so far so good"), facts)
    assert record.finished is None
    assert record.verdict is DecisionWord.NOT_PROVEN
    assert record.reason == "interrupted after 1 of 3 trials"


def test_a_failure_stays_a_failure_when_the_run_is_interrupted() -> None:
    decision = Decision("not qualified", "trial 1 failed")
    record = build_record(
        a_plan(trials=3), (a_trial(),), decision, replace(FACTS, finished_ns=None)
    )
    assert record.verdict is DecisionWord.NOT_QUALIFIED
    assert record.reason == "trial 1 failed; the run was interrupted after 1 of 3 trials"
