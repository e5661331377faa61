"""From the observation of one trial to everything that is said about it, and to a decision."""

from collections.abc import Iterator, Mapping, Sequence

from qualify.measure.neighbors import count_neighbor_changes
from qualify.measure.observation import NeighborHistory, Observation, RouteHistory
from qualify.measure.outage import bound_by_count, find_interval
from qualify.measure.steady import loss_before
from qualify.plan.trial import TrialPlan
from qualify.testbed.testbed import PathKind
from qualify.verdict.assessment import (
    Decision,
    DutAssessment,
    NeighborAssessment,
    RouteAssessment,
    StreamAssessment,
    TrialAssessment,
)
from qualify.verdict.checks import judge_neighbor, judge_release, judge_routes, judge_steady
from qualify.verdict.streams import assess_streams, doubt_upgrade, find_activation, stream_name
from qualify.verdict.summary import Said, sum_up
from qualify.verdict.verdict import Outcome, Verdict
from qualify.verdict.words import number_of


def assess(plan: TrialPlan, observation: Observation, *, target_release: str) -> TrialAssessment:
    """Measure and judge one trial.

    A stream without a capture, or whose capture contradicts itself, gets no figures and no
    assessment; the trial is inconclusive for it. So it is for a session or for routes that the
    plan needs and nobody watched. A trial that the bench broke off is an error, whatever was
    seen until then.

    Args:
        plan: the trial as it was planned.
        observation: the trial as it was seen.
        target_release: the release that every device was upgraded to.
    """
    streams, unmeasured = assess_streams(plan, observation)
    steady = _judge_steady(streams, observation)
    doubt = doubt_upgrade(observation)
    neighbors = tuple(_assess_neighbor(plan, each, doubt) for each in observation.neighbors)
    routes = tuple(_assess_routes(plan, each, doubt, streams) for each in observation.routes)
    broke_off = bool(observation.problem)
    duts = tuple(
        DutAssessment(dut, judge_release(dut, target_release=target_release, broke_off=broke_off))
        for dut in observation.duts
    )
    outages = [Said(stream_name(each.stream), each.verdict) for each in _worst_first(streams)]
    said = [
        Said("steady state", steady),
        *(Said(each.observation.name, each.verdict) for each in duts),
        *outages,
        *(Said(_session_name(each.history), each.verdict) for each in neighbors),
        *(Said(_routes_name(each.history), each.verdict) for each in routes),
        *unmeasured,
        *_find_unwatched(plan, observation),
    ]
    verdict = Verdict(Outcome.ERROR, observation.problem) if broke_off else sum_up(said)
    if verdict.outcome is Outcome.PASS:
        verdict = Verdict(Outcome.PASS, f"{verdict.reason}; the longest outage: {outages[0]}")
    return TrialAssessment(plan, observation, steady, streams, neighbors, routes, duts, verdict)


def decide(assessments: Sequence[TrialAssessment], *, required: Mapping[str, int]) -> Decision:
    """Decide about a release.

    Args:
        assessments: all trials of the run, in order.
        required: how many trials of each case must pass.

    Returns:
        ``qualified`` when every required case passed that often; ``not qualified`` when any
        trial failed; otherwise ``not proven``: nothing is proven by trials that were not run, were
        inconclusive, or on a bench that was not fit.
    """
    failed = [each for each in assessments if each.verdict.outcome is Outcome.FAIL]
    if failed:
        first, of = failed[0], number_of(len(assessments), "trial")
        return Decision(
            "not qualified",
            f"{len(failed)} of {of} failed, first {first.plan.name}: {first.verdict.reason}",
        )
    for case, trials in required.items():
        shortage = _find_shortage([e for e in assessments if e.plan.case.name == case], trials)
        if shortage:
            return Decision("not proven", f"{case} {shortage}")
    if not any(required.values()):
        return Decision("not proven", "no trial was required, so none proves anything")
    trials_passed = number_of(sum(required.values()), "required trial")
    return Decision(
        "qualified", f"{trials_passed} of {number_of(len(required), 'case')} passed, none failed"
    )


def _find_shortage(trials: Sequence[TrialAssessment], required: int) -> str:
    """Say what a case lacks of its required passes; empty when it lacks nothing."""
    others = [each for each in trials if each.verdict.outcome is not Outcome.PASS]
    passed = len(trials) - len(others)
    if passed >= required:
        return ""
    words = f"passed {passed} of {number_of(required, 'required trial')}"
    if not others:
        return f"{words}, more were not run"
    first = others[0]
    return f"{words}, {first.plan.name} was {first.verdict.outcome}: {first.verdict.reason}"


def _judge_steady(streams: Sequence[StreamAssessment], observation: Observation) -> Verdict:
    captures = {capture.stream: capture for capture in observation.captures}
    if observation.problem and not captures:
        return Verdict(Outcome.ERROR, observation.problem)
    if any(capture.totals is not None for capture in captures.values()):
        return Verdict(Outcome.INCONCLUSIVE, "totals do not say what was lost before the upgrade")
    until_ns = find_activation(observation)
    return judge_steady(
        [
            (
                stream_name(each.stream),
                loss_before(captures[each.stream.number], until_ns=until_ns),
                captures[each.stream.number].destinations,
            )
            for each in streams
        ]
    )


def _worst_first(streams: Sequence[StreamAssessment]) -> list[StreamAssessment]:
    return sorted(streams, key=lambda each: each.figures.outage_high_ns, reverse=True)


def _assess_neighbor(plan: TrialPlan, history: NeighborHistory, doubt: str) -> NeighborAssessment:
    count = count_neighbor_changes(history)
    verdict = judge_neighbor(history, count, budget=plan.case.neighbors).unless(doubt)
    return NeighborAssessment(history, count.flaps, count.graceful_restarts, verdict)


def _assess_routes(
    plan: TrialPlan, history: RouteHistory, doubt: str, streams: Sequence[StreamAssessment]
) -> RouteAssessment:
    """Judge the routes of a direction, and look at how each of them fared in its stream.

    Source:
        RFC 6412 §3.5.3: one destination for each route; RFC 6413 §6.3.3: a route that lost
        nothing may still have been without service for one round.
    """
    verdict = judge_routes(history, budget=plan.case.routes).unless(doubt)
    for each in streams:
        if (each.stream.path, each.stream.direction) == (history.path, history.direction):
            if each.figures.totals is not None:
                break
            losses = each.figures.destinations
            worst_ns = losses[0].outage_high_ns if losses else _round_ns(each)
            return RouteAssessment(history, len(losses), worst_ns, verdict)
    return RouteAssessment(history, None, None, verdict)


def _round_ns(assessment: StreamAssessment) -> int:
    stream = assessment.stream
    interval_ns = find_interval(stream.rate_pps, destinations=len(stream.destinations))
    return bound_by_count(0, periods=0, interval_ns=interval_ns).high_ns


def _find_unwatched(plan: TrialPlan, observation: Observation) -> Iterator[Said]:
    """Find what the plan needs and nobody watched."""
    sessions = {history.path for history in observation.neighbors}
    routes = {(history.path, history.direction) for history in observation.routes}
    if not observation.duts:
        yield Said("devices", Verdict(Outcome.INCONCLUSIVE, "no device was observed"))
    for stream in plan.streams:
        if stream.kind is PathKind.L2:
            continue
        if stream.path not in sessions:
            verdict = Verdict(Outcome.INCONCLUSIVE, "no peer told of its neighbor")
            yield Said(stream_name(stream), verdict)
        if (stream.path, stream.direction) not in routes:
            verdict = Verdict(Outcome.INCONCLUSIVE, "no peer counted its routes")
            yield Said(stream_name(stream), verdict)


def _session_name(history: NeighborHistory) -> str:
    return f"{history.path} {history.protocol} neighbor at {history.observer}"


def _routes_name(history: RouteHistory) -> str:
    return f"{history.path} {history.direction} routes"
