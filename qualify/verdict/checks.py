"""From what was seen of neighbors, routes, devices and the steady bench to a verdict on each."""

from collections.abc import Sequence

from qualify.measure.neighbors import NeighborCount
from qualify.measure.observation import DutObservation, NeighborHistory, RouteHistory
from qualify.measure.steady import EarlyImpairment
from qualify.testbed.case import NeighborBudget, RouteBudget
from qualify.units import format_count, format_s
from qualify.verdict.verdict import Outcome, Verdict
from qualify.verdict.words import number_allowed, number_of


def judge_neighbor(
    history: NeighborHistory, count: NeighborCount, *, budget: NeighborBudget
) -> Verdict:
    """Judge one session by what its peer saw.

    What the peer saw proves a fail even where its last state is not known; a pass needs both
    states.

    Source:
        RFC 4273 bgpPeerState, RFC 4750 ospfNbrState: only the state "in service" counts as up.
    """
    up, before, after = history.up_state, history.before, history.after
    if before not in (None, up):
        return Verdict(
            Outcome.ERROR, f"the session was {before}, not {up}, before the upgrade: a bench fault"
        )
    if after not in (None, up):
        return Verdict(Outcome.FAIL, f"the session is {after} afterwards, not {up}")
    if count.flaps > budget.flaps:
        return Verdict(
            Outcome.FAIL, f"{number_of(count.flaps, 'flap')}, {number_allowed(budget.flaps)}"
        )
    if count.graceful_restarts and not budget.graceful_restarts_allowed:
        restarts = number_of(count.graceful_restarts, "graceful restart")
        return Verdict(Outcome.FAIL, f"{restarts}, none allowed")
    if before is None or after is None:
        when = "before" if before is None else "after"
        return Verdict(
            Outcome.INCONCLUSIVE, f"the peer could not tell the state {when} the upgrade"
        )
    return Verdict(Outcome.PASS, _describe_session(count, up))


def judge_routes(history: RouteHistory, *, budget: RouteBudget) -> Verdict:
    """Judge the routes of one direction by what the peer at its sending port had learned.

    Source:
        RFC 4292 inetCidrRouteNumber before and after, less the tolerance that the case allows.
    """
    advertised, before, after = history.advertised, history.before, history.after
    if before is not None and before < advertised:
        return Verdict(
            Outcome.ERROR,
            f"{format_count(before)} of {number_of(advertised, 'route')} were there before the "
            "upgrade: a bench fault",
        )
    if before is None or after is None:
        when = "before" if before is None else "after"
        return Verdict(Outcome.INCONCLUSIVE, f"the routes could not be counted {when} the upgrade")
    lost = max(0, advertised - after)
    words = (
        f"{format_count(lost)} of {number_of(advertised, 'route')} missing afterwards, "
        f"{number_allowed(budget.lost)}"
    )
    return Verdict(Outcome.PASS if lost <= budget.lost else Outcome.FAIL, words)


def judge_release(dut: DutObservation, *, target_release: str, broke_off: bool) -> Verdict:
    """Judge whether a device runs the release that it was upgraded to, and says that it is done.

    Args:
        dut: the device.
        target_release: what it was upgraded to.
        broke_off: whether the bench gave up before it had waited for the end of the upgrade.
    """
    words = _describe_release(dut, target_release)
    if dut.problem:
        return Verdict(Outcome.FAIL, f"{words}: {dut.problem}")
    if dut.activated_ns is None or broke_off:
        return Verdict(Outcome.INCONCLUSIVE, f"{words}, but the upgrade was not seen through")
    if dut.release_after is None and dut.upgrade_ns is not None:
        return Verdict(Outcome.INCONCLUSIVE, f"{words}, although it had finished its upgrade")
    if dut.release_after == target_release and dut.upgrade_ns is not None:
        return Verdict(Outcome.PASS, f"{words} after {format_s(dut.upgrade_ns)}")
    if dut.release_after == target_release:
        return Verdict(Outcome.FAIL, f"{words}, but never said that its upgrade had finished")
    return Verdict(Outcome.FAIL, words)


def judge_steady(early: Sequence[tuple[str, EarlyImpairment, int]]) -> Verdict:
    """Judge the bench by the frames that left before the upgrade was activated.

    Whatever happened to them is the fault of the bench, never an outage.

    Args:
        early: the name of each stream, what happened to its early frames, its destinations.

    Source:
        RFC 6201 §4: forwarding is verified before the event; every destination is visited once.
    """
    for name, seen, destinations in early:
        if seen.sent < destinations:
            return Verdict(
                Outcome.ERROR,
                f"{name} visited {format_count(seen.sent)} of "
                f"{number_of(destinations, 'destination')} before the upgrade: a bench fault",
            )
        if not seen.clean:
            return Verdict(
                Outcome.ERROR,
                f"{name} lost {format_count(seen.lost)}, repeated {format_count(seen.duplicate)} "
                f"and reordered {format_count(seen.reordered)} of "
                f"{number_of(seen.sent, 'frame')} before the upgrade: a bench fault",
            )
    if not early:
        return Verdict(Outcome.INCONCLUSIVE, "no frame was counted before the upgrade")
    frames = sum(seen.sent for _, seen, _ in early)
    return Verdict(
        Outcome.PASS,
        f"{number_of(frames, 'frame')} on {number_of(len(early), 'stream')} before the upgrade, "
        "none lost, repeated or out of order",
    )


def _describe_session(count: NeighborCount, up: str) -> str:
    if not count.flaps + count.graceful_restarts:
        return f"{up} throughout"
    parts = [
        number_of(number, word)
        for number, word in ((count.flaps, "flap"), (count.graceful_restarts, "graceful restart"))
        if number
    ]
    return f"{up} afterwards, {' and '.join(parts)}, as allowed"


def _describe_release(dut: DutObservation, target_release: str) -> str:
    if dut.release_after == target_release:
        return f"runs {target_release}"
    if dut.release_after is None:
        return _describe_absence(dut, target_release)
    if dut.release_after != dut.release_before:
        return f"runs {dut.release_after}, not {target_release}"
    verb = "stayed on" if dut.activated_ns is None else "fell back to"
    return f"{verb} {dut.release_after}, wanted {target_release}"


def _describe_absence(dut: DutObservation, target_release: str) -> str:
    waited_for_it = dut.activated_ns is not None and dut.upgrade_ns is None
    return (
        f"never came back with {target_release}"
        if waited_for_it
        else f"could not be asked whether it runs {target_release}"
    )
