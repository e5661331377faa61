"""Neighbors and routes of a trial, as the peers of the tester see them."""

from dataclasses import dataclass

from qualify.bench.bench import Bench
from qualify.bench.readiness import peers_of
from qualify.measure.observation import NeighborHistory, RouteHistory
from qualify.plan.trial import PeerPlan, TrialPlan
from qualify.units import NS_PER_S

_READ_EVERY_NS = NS_PER_S


@dataclass(slots=True)
class _Counts:
    before: int | None
    lowest: int | None
    after: int | None


class RouteWatch:
    """Reads how many routes each peer has learned: before, the lowest, and after."""

    def __init__(self, bench: Bench, trial: TrialPlan) -> None:
        self._bench = bench
        self._plans = peers_of(bench, trial)
        self._counts: dict[str, _Counts] = {}
        self._read_ns = 0

    def read(self) -> None:
        """Read the routes now; the first time they count as before."""
        self._read_ns = self._bench.site.clock.now_ns()
        for plan in self._plans:
            learned = self._bench.peers[plan.port].routes()
            counts = self._counts.setdefault(plan.port, _Counts(learned, learned, None))
            counts.after = learned
            if learned is not None and (counts.lowest is None or learned < counts.lowest):
                counts.lowest = learned

    def read_now_and_then(self) -> None:
        """Read the routes unless they were read within the last second."""
        if self._bench.site.clock.now_ns() - self._read_ns >= _READ_EVERY_NS:
            self.read()

    def histories(self) -> tuple[RouteHistory, ...]:
        """Return what was read, one for each direction of each routed path."""
        return tuple(self._history(plan) for plan in self._plans if plan.port in self._counts)

    def _history(self, plan: PeerPlan) -> RouteHistory:
        # What the peer at the sending port has learned is where its traffic can go.
        ports = self._bench.plan.testbed.path(plan.path).ports
        other = ports[1] if plan.port == ports[0] else ports[0]
        counts = self._counts[plan.port]
        return RouteHistory(
            path=plan.path,
            direction=f"{plan.port}>{other}",
            advertised=plan.expected_routes,
            before=counts.before,
            lowest=counts.lowest,
            after=counts.after,
        )


def neighbor_histories(
    bench: Bench, trial: TrialPlan, *, since_ns: int
) -> tuple[NeighborHistory, ...]:
    """Return what every peer of a trial saw of its session since that time."""
    return tuple(
        bench.peers[plan.port].history(since_ns=since_ns) for plan in peers_of(bench, trial)
    )
