"""From a testbed, cases and a release to the plan of a run, or to every reason why not."""

from collections.abc import Iterable, Sequence

from qualify.errors import PlanError
from qualify.plan.addressing import PortAddresses, address_testbed
from qualify.plan.capability import below_seen_stall, beyond_seen_rate
from qualify.plan.fitting import frames_too_small
from qualify.plan.limit import Limit
from qualify.plan.peers import plan_peers
from qualify.plan.stream import Stream
from qualify.plan.streams import plan_streams
from qualify.plan.trial import Plan, TrialPlan
from qualify.testbed.case import Case
from qualify.testbed.image import Image, VirtualBehaviour
from qualify.testbed.testbed import Testbed
from qualify.units import NS_PER_S, format_count, format_ms

# RFC 6201 §4: forwarding is verified for at least 15 s before the event.
LEAST_STEADY_NS = 15 * NS_PER_S
# RFC 6412 §3.7.5: max(5 s, the time to send 5 packets to every destination).
LEAST_RECOVER_NS = 5 * NS_PER_S
FRAMES_TO_EVERY_DESTINATION = 5
# How long after the kept routes are swept a fault needs to show.
SWEEP_MARGIN_NS = 3 * NS_PER_S
# A device that reloads its only route processor takes three to five minutes
# (common practice, no source); three times that is "never".
PATIENCE_NS = 900 * NS_PER_S
VIRTUAL_PATIENCE_NS = 90 * NS_PER_S


class PlanRefusedError(PlanError):
    """Everything that speaks against a plan, at once."""

    def __init__(self, reasons: Sequence[PlanError]) -> None:
        super().__init__(reasons[0].problem, fix=reasons[0].fix, where=reasons[0].where)
        self.reasons = tuple(reasons)

    def __str__(self) -> str:
        return "\n".join(map(str, self.reasons))


def plan_run(
    testbed: Testbed,
    cases: Iterable[Case],
    *,
    target: Image,
    source: Image,
    limit: Limit,
    trials: int | None = None,
) -> Plan:
    """Plan every trial of a run.

    Args:
        testbed: what the trials run on.
        cases: the questions; those made for another number of tiers are left out, with the reason.
        target: image of the release under qualification.
        source: image of the release that every trial starts from.
        limit: what the traffic backend can do.
        trials: trials of each case; ``None`` for what the cases say.

    Raises:
        PlanRefusedError: a rate is beyond the backend or the machine, or a budget cannot be proven.
    """
    addresses = address_testbed(testbed)
    fitting = [case for case in cases if case.tiers == testbed.tiers]
    unfit = [case for case in cases if case.tiers != testbed.tiers]
    reasons = [reason for case in fitting for reason in _objections(testbed, case, limit)]
    reasons += [reason for case in fitting for reason in frames_too_small(testbed, case)]
    if reasons:
        raise PlanRefusedError(reasons)
    return Plan(
        testbed=testbed,
        target=target,
        source=source,
        addresses=addresses,
        peers=plan_peers(testbed),
        trials=tuple(
            trial
            for case in fitting
            for trial in _plan_trials(testbed, case, target, addresses, trials or case.trials)
        ),
        left_out=tuple(
            (case, f"made for {_tiers(case.tiers)}, this testbed has {_tiers(testbed.tiers)}")
            for case in unfit
        ),
    )


def _plan_trials(
    testbed: Testbed,
    case: Case,
    target: Image,
    addresses: dict[str, PortAddresses],
    trials: int,
) -> list[TrialPlan]:
    streams = plan_streams(testbed, case, addresses)
    round_ns = max(map(_round_ns, streams))
    virtual = target.behaviour if isinstance(target.behaviour, VirtualBehaviour) else None
    kept_ns = virtual.kept_routes_s * NS_PER_S + SWEEP_MARGIN_NS if virtual else 0
    return [
        TrialPlan(
            case=case,
            number=number,
            streams=streams,
            steady_ns=max(LEAST_STEADY_NS, round_ns),
            recover_ns=max(LEAST_RECOVER_NS, FRAMES_TO_EVERY_DESTINATION * round_ns),
            settle_ns=kept_ns,
            patience_ns=VIRTUAL_PATIENCE_NS if virtual else PATIENCE_NS,
        )
        for number in range(1, trials + 1)
    ]


def _round_ns(stream: Stream) -> int:
    """How long one frame to every destination takes."""
    return -(-len(stream.destinations) * NS_PER_S // stream.rate_pps)


def _objections(testbed: Testbed, case: Case, limit: Limit) -> list[PlanError]:
    seen, most_pps, file = limit.seen, limit.most_pps, str(testbed.file)
    reasons = _unprovable(case)
    if seen:
        reasons += below_seen_stall(case, seen, testbed=file)
    # Of two limits only the lower one is named.
    if seen and (most_pps is None or seen.total_pps <= most_pps):
        return [*beyond_seen_rate(case, seen, testbed=file), *reasons]
    if most_pps is None:
        return reasons
    return [*_beyond_limit(testbed, case, most_pps), *reasons]


def _beyond_limit(testbed: Testbed, case: Case, most_pps: int) -> list[PlanError]:
    rate_pps = case.stream.offered_load_pps
    streams = 2 * len(case.paths)
    if streams * rate_pps <= most_pps:
        return []
    return [
        PlanError(
            f"{streams} streams of {format_count(rate_pps)} frames/s are "
            f"{format_count(streams * rate_pps)} frames/s, and the traffic backend "
            f"'{testbed.tester.traffic}' can do {format_count(most_pps)} in all",
            fix=f"offer at most {most_pps // streams} frames/s on each stream",
            where=f"{case.file} stream.offered_load_pps",
        )
    ]


def _unprovable(case: Case) -> list[PlanError]:
    rate_pps = case.stream.offered_load_pps
    interval_ns = -(-NS_PER_S // rate_pps)
    return [
        PlanError(
            f"an outage budget of {format_ms(budget.outage_ns)} cannot be proven at "
            f"{format_count(rate_pps)} frames/s, where one frame stands for "
            f"{format_ms(interval_ns)}",
            fix=f"offer at least {-(-NS_PER_S // budget.outage_ns)} frames/s, or ten times that",
            where=f"{case.file} budgets.{path}.outage_ms",
        )
        for path, budget in case.budgets.items()
        if interval_ns > budget.outage_ns
    ]


def _tiers(number: int) -> str:
    return "one tier" if number == 1 else f"{number} tiers"
