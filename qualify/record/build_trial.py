"""From a judged trial to the part of the record that keeps it. Pure."""

from qualify.measure.capture import Doubt
from qualify.measure.figures import DestinationLoss, LossPeriod
from qualify.plan.stream import Stream
from qualify.record.model import (
    DestinationRecord,
    DoubtRecord,
    DutRecord,
    LossPeriodRecord,
    NeighborEventRecord,
    NeighborRecord,
    PhaseRecord,
    PortRecord,
    RouteRecord,
    StreamRecord,
    TrialRecord,
)
from qualify.verdict.assessment import (
    DutAssessment,
    NeighborAssessment,
    RouteAssessment,
    StreamAssessment,
    TrialAssessment,
)
from qualify.verdict.judge import reaches_the_edge

WORST_DESTINATIONS = 20
MOST_LOSS_PERIODS = 200
_RATE_DECIMALS = 3


def record_trial(trial: TrialAssessment) -> TrialRecord:
    """Keep a trial: its figures, its verdicts, and what both hang on."""
    return TrialRecord(
        case=trial.plan.case.name,
        trial=trial.plan.number,
        order=trial.plan.case.order.value,
        verdict=trial.verdict.outcome,
        reason=trial.verdict.reason,
        phases=tuple(
            PhaseRecord(phase.name, phase.start_ns, phase.end_ns)
            for phase in trial.observation.phases
        ),
        duts=tuple(_dut(dut) for dut in trial.duts),
        streams=tuple(_stream(stream) for stream in trial.streams),
        routes=tuple(_routes(routes) for routes in trial.routes),
        neighbors=tuple(_neighbor(neighbor) for neighbor in trial.neighbors),
        steady_verdict=trial.steady.outcome,
        steady_reason=trial.steady.reason,
        problem=trial.observation.problem,
    )


def _stream(assessment: StreamAssessment) -> StreamRecord:
    stream, figures = assessment.stream, assessment.figures
    offered = figures.offered_pps
    return StreamRecord(
        path=stream.path,
        kind=stream.kind.value,
        direction=stream.direction,
        intended_pps=stream.rate_pps,
        offered_pps=None if offered is None else round(offered, _RATE_DECIMALS),
        frame_octets=stream.frame_octets,
        sent=figures.sent,
        received=figures.received,
        lost=figures.lost,
        duplicate=figures.duplicate,
        reordered=figures.reordered,
        loss_periods=figures.loss_period_count,
        outage_ns=figures.outage_ns,
        outage_low_ns=figures.outage_low_ns,
        outage_high_ns=figures.outage_high_ns,
        longest_ns=figures.longest_ns,
        receive_gap_ns=figures.receive_gap_ns,
        max_delay_ns=figures.max_delay_ns,
        tester_dropped=figures.tester_dropped,
        budget_ns=assessment.budget_ns,
        verdict=assessment.verdict.outcome,
        reason=assessment.verdict.reason,
        longest_stall_ns=figures.longest_stall_ns,
        destinations=len(stream.destinations),
        destinations_with_loss=None if figures.totals else len(figures.destinations),
        worst_destinations=_worst(stream, figures.destinations),
        loss_period_details=_loss_periods(figures.loss_periods),
        reaches_edge=None if figures.totals and figures.lost else reaches_the_edge(figures),
        frame_sizes=stream.sizes,
        doubts=_doubts(figures.doubts),
        undecidable=figures.undecidable,
        outage_method=figures.outage_method.value if figures.lost else None,
        time_low_ns=figures.time_low_ns,
        time_high_ns=figures.time_high_ns,
    )


def _doubts(doubts: tuple[Doubt, ...]) -> tuple[DoubtRecord, ...]:
    return tuple(
        DoubtRecord(doubt.kind.value, doubt.frames, doubt.longest_ns, doubt.words)
        for doubt in doubts
    )


def _worst(
    stream: Stream, destinations: tuple[DestinationLoss, ...]
) -> tuple[DestinationRecord, ...]:
    return tuple(
        DestinationRecord(
            name=stream.destinations[loss.destination].name,
            sent=loss.sent,
            lost=loss.lost,
            outage_low_ns=loss.outage_low_ns,
            outage_high_ns=loss.outage_high_ns,
        )
        for loss in destinations[:WORST_DESTINATIONS]
    )


def _loss_periods(periods: tuple[LossPeriod, ...]) -> tuple[LossPeriodRecord, ...]:
    return tuple(
        LossPeriodRecord(
            first_lost=period.first_lost,
            lost_frames=period.lost_frames,
            started_ns=period.started_ns,
            outage_low_ns=period.low_ns,
            outage_high_ns=period.high_ns,
        )
        for period in periods[:MOST_LOSS_PERIODS]
    )


def _dut(assessment: DutAssessment) -> DutRecord:
    dut = assessment.observation
    dropped = sum(port.received - port.sent for port in dut.ports)
    return DutRecord(
        name=dut.name,
        tier=dut.tier,
        release_before=dut.release_before,
        release_after=dut.release_after,
        upgrade_ns=dut.upgrade_ns,
        dropped_frames=dropped if dut.ports else None,
        ports=tuple(PortRecord(port.port, port.received, port.sent) for port in dut.ports),
        problem=dut.problem,
        verdict=assessment.verdict.outcome,
        reason=assessment.verdict.reason,
        activated_ns=dut.activated_ns,
    )


def _routes(assessment: RouteAssessment) -> RouteRecord:
    history = assessment.history
    return RouteRecord(
        path=history.path,
        direction=history.direction,
        advertised=history.advertised,
        before=history.before,
        lowest=history.lowest,
        after=history.after,
        routes_with_loss=assessment.routes_with_loss,
        worst_outage_ns=assessment.worst_outage_ns,
        verdict=assessment.verdict.outcome,
        reason=assessment.verdict.reason,
    )


def _neighbor(assessment: NeighborAssessment) -> NeighborRecord:
    history = assessment.history
    return NeighborRecord(
        path=history.path,
        observer=history.observer,
        protocol=history.protocol,
        before=history.before,
        after=history.after,
        flaps=assessment.flaps,
        graceful_restarts=assessment.graceful_restarts,
        # hellos and keepalives are not watched on the wire yet, and unknown is not zero
        longest_silence_ns=None,
        hold_ns=history.hold_ns,
        events=tuple(
            NeighborEventRecord(event.at_ns, event.change.value, event.words)
            for event in history.events
        ),
        verdict=assessment.verdict.outcome,
        reason=assessment.verdict.reason,
    )
