"""From the captures of a trial to figures and a verdict on every stream that has one."""

from qualify.errors import MeasurementError
from qualify.measure.capture import Capture
from qualify.measure.counted import measure_capture
from qualify.measure.figures import StreamFigures
from qualify.measure.observation import Observation
from qualify.plan.stream import Stream
from qualify.plan.trial import TrialPlan
from qualify.units import NS_PER_S, format_s
from qualify.verdict.assessment import StreamAssessment
from qualify.verdict.judge import describe_outage, judge_outage
from qualify.verdict.summary import Said
from qualify.verdict.totals import describe_totals, find_shortfall, judge_totals
from qualify.verdict.verdict import Outcome, Verdict

# Traffic runs until the phase "count" begins. A bench polls a few times a second and a backend
# stops within 100 ms; a stream that fell silent earlier than this did not see the whole trial.
MOST_SILENCE_NS = NS_PER_S


def assess_streams(
    plan: TrialPlan, observation: Observation
) -> tuple[tuple[StreamAssessment, ...], tuple[Said, ...]]:
    """Measure and judge every stream of a trial.

    Returns:
        An assessment of each stream that could be measured, in the order of the plan; and why
        each of the others could not.
    """
    captures = {capture.stream: capture for capture in observation.captures}
    assessed: list[StreamAssessment] = []
    unmeasured: list[Said] = []
    for stream in plan.streams:
        try:
            figures = _measure(stream, captures)
        except MeasurementError as error:
            verdict = Verdict(Outcome.INCONCLUSIVE, error.problem)
            unmeasured.append(Said(stream_name(stream), verdict))
            continue
        budget = plan.case.budgets.get(stream.path)
        budget_ns = None if budget is None else budget.outage_ns
        verdict = _judge(figures, captures[stream.number], budget_ns, observation)
        assessed.append(StreamAssessment(stream, figures, budget_ns, verdict))
    return tuple(assessed), tuple(unmeasured)


def stream_name(stream: Stream) -> str:
    """What people call a stream: ``egp p5>p6``."""
    return f"{stream.path} {stream.direction}"


def find_activation(observation: Observation) -> int | None:
    """Return when the first device was given the activate command; ``None`` when none was."""
    given = [dut.activated_ns for dut in observation.duts if dut.activated_ns is not None]
    return min(given, default=None)


def doubt_upgrade(observation: Observation) -> str:
    """Say why nothing can pass; empty when the upgrade was given and seen through."""
    if find_activation(observation) is None:
        return "but no upgrade was activated"
    return "but the upgrade was not seen through" if observation.problem else ""


def _measure(stream: Stream, captures: dict[int, Capture]) -> StreamFigures:
    if stream.number not in captures:
        raise MeasurementError(
            "nothing was captured", fix="look at why the trial ended before its frames were counted"
        )
    return measure_capture(captures[stream.number])


def _judge(
    figures: StreamFigures, capture: Capture, budget_ns: int | None, observation: Observation
) -> Verdict:
    """Judge a stream against its budget; a pass also needs that it saw all of an upgrade."""
    describe = describe_outage if figures.totals is None else describe_totals
    if budget_ns is None:
        words = f"{describe(figures)}, but the case sets no budget"
        return Verdict(Outcome.INCONCLUSIVE, words)
    if find_activation(observation) is None:
        words = f"{describe(figures)}, {doubt_upgrade(observation)}"
        return Verdict(Outcome.INCONCLUSIVE, words)
    judge = judge_outage if figures.totals is None else judge_totals
    return judge(figures, budget_ns=budget_ns).unless(_find_unseen(capture, observation))


def _find_unseen(capture: Capture, observation: Observation) -> str:
    """Say which end of the trial the stream did not see; empty when it saw all of it.

    Source:
        RFC 2285 §3.5.2: frames that were not sent are not offered. A sender that stops when its
        link goes down loses none of them, so the loss alone would read "no outage".
    """
    if doubt := doubt_upgrade(observation):
        return doubt
    if capture.totals is not None:
        return find_shortfall(capture.totals, rate_pps=capture.rate_pps)
    ended_ns = [phase.start_ns for phase in observation.phases if phase.name == "count"]
    if not ended_ns:
        return "but nobody knows how long the traffic ran"
    fell_silent_ns = capture.transmission.ended_ns
    if fell_silent_ns is None:
        return "but nothing was sent"
    silent_ns = ended_ns[-1] - fell_silent_ns
    if silent_ns > MOST_SILENCE_NS:
        return f"but the sender fell silent {format_s(silent_ns)} before the trial was over"
    return ""
