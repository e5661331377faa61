"""Is the bench fit for a trial? Everything that is not, at once, after a fair wait."""

from collections.abc import Iterator

from qualify.bench.bench import Bench
from qualify.errors import BenchError, DeviceError
from qualify.plan.trial import PeerPlan, Plan, TrialPlan
from qualify.units import NS_PER_S

# OSPF sends a changed LSA at most every 5 s (RFC 2328, MinLSInterval); thousands of routes and a
# slow machine need several rounds of that.
READY_WITHIN_S = 90
POLL_S = 0.5


def wait_until_ready(bench: Bench, trial: TrialPlan) -> dict[str, str]:
    """Wait until every device and peer of a trial is in the state that it needs.

    Returns:
        The release that each device runs.

    Raises:
        BenchError: something is still missing after the wait; all of it is named.
    """
    clock = bench.site.clock
    deadline_ns = clock.now_ns() + READY_WITHIN_S * NS_PER_S
    while missing := list(_missing(bench, trial)):
        if clock.now_ns() >= deadline_ns:
            raise BenchError(
                f"the bench is not ready after {READY_WITHIN_S} s: {'; '.join(missing)}",
                fix="bring the bench into this state, then start again; nothing was upgraded",
                where=str(bench.plan.testbed.file),
            )
        clock.sleep(POLL_S)
    return {name: device.facts().release for name, device in bench.devices.items()}


def peers_of(bench: Bench, trial: TrialPlan) -> list[PeerPlan]:
    """Return the plans of the peers on the paths of a trial."""
    return [plan for plan in bench.plan.peers if plan.path in trial.case.paths]


def routes_through(plan: Plan) -> dict[str, int]:
    """Count the routes that every device must have of each protocol: those of all peers."""
    wanted: dict[str, int] = {}
    for peer in plan.peers:
        wanted[peer.protocol] = wanted.get(peer.protocol, 0) + len(peer.here.prefixes)
    return wanted


def all_in_service(bench: Bench, trial: TrialPlan) -> bool:
    """Tell whether every session of a trial is up and every route is there."""
    return not any(_missing_at_peers(bench, trial))


def _missing(bench: Bench, trial: TrialPlan) -> Iterator[str]:
    for name in bench.devices:
        yield from _missing_on(bench, name)
    yield from _missing_at_peers(bench, trial)


def _missing_on(bench: Bench, dut: str) -> Iterator[str]:
    try:
        facts, tables = bench.devices[dut].facts(), bench.devices[dut].tables()
    except DeviceError as error:
        yield error.problem
        return
    wanted = bench.plan.source.release
    if facts.release != wanted:
        yield f"{dut} runs {facts.release} instead of {wanted}"
    for feature, on in facts.redundancy.items():
        if not on:
            yield f"{feature} is off on {dut}"
    for protocol, wanted_routes in routes_through(bench.plan).items():
        found = tables.routes.get(protocol)
        if found is None or found < wanted_routes:
            counted = "an unknown number" if found is None else found
            yield f"{counted} of {wanted_routes} {protocol} routes in the table of {dut}"


def _missing_at_peers(bench: Bench, trial: TrialPlan) -> Iterator[str]:
    for plan in peers_of(bench, trial):
        peer = bench.peers[plan.port]
        if not peer.up():
            yield f"the {plan.protocol} neighbor at {plan.port} is not up"
            continue
        learned = peer.routes()
        if learned != plan.expected_routes:
            counted = "an unknown number" if learned is None else learned
            yield f"{counted} of {plan.expected_routes} {plan.protocol} routes at {plan.port}"
