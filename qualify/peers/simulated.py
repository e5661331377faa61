"""Peer ``simulated``: it sees what the simulation says that a peer would see."""

from qualify.measure.observation import NeighborChange, NeighborEvent, NeighborHistory
from qualify.plan.trial import PeerPlan
from qualify.simulation.simulation import Absence
from qualify.site import Site
from qualify.units import NS_PER_S

UP_STATES = {"ospf": "Full", "bgp": "Established"}
DOWN_STATES = {"ospf": "Down", "bgp": "Active"}


class SimulatedPeer:
    """One routing peer of a simulated device."""

    def __init__(self, plan: PeerPlan, site: Site) -> None:
        self._plan = plan
        self._simulation = site.in_simulation("the peer 'simulated'")
        self._path = site.testbed.path(plan.path)
        self._dut = site.testbed.port(plan.port).attach.dut
        self._started_ns = 0

    def start(self) -> None:
        """Come up at once."""
        self._started_ns = self._simulation.clock.now_ns()

    def up(self) -> bool:
        """Tell whether the session is in service now; one under graceful restart is not."""
        return self._up_at(self._simulation.clock.now_ns())

    def routes(self) -> int | None:
        """Count the routes learned; a session lost without graceful restart has none."""
        now_ns = self._simulation.clock.now_ns()
        if any(not each.graceful and _covers(each, now_ns) for each in self._absences()):
            return 0
        return max(0, self._plan.expected_routes - self._simulation.routes_lost(self._path))

    def history(self, *, since_ns: int) -> NeighborHistory:
        """Return the events until now; see Peer."""
        now_ns = self._simulation.clock.now_ns()
        events = [event for each in self._absences() for event in _events(each)]
        return NeighborHistory(
            path=self._plan.path,
            observer=self._plan.port,
            protocol=self._plan.protocol,
            up_state=UP_STATES[self._plan.protocol],
            hold_ns=self._plan.hold_s * NS_PER_S,
            before=self._state_at(since_ns),
            after=self._state_at(now_ns),
            events=tuple(event for event in events if since_ns <= event.at_ns <= now_ns),
        )

    def stop(self) -> None:
        """Nothing runs."""

    def _absences(self) -> tuple[Absence, ...]:
        return self._simulation.absences(self._path, self._dut)

    def _up_at(self, at_ns: int) -> bool:
        return not any(_covers(each, at_ns) for each in self._absences())

    def _state_at(self, at_ns: int) -> str:
        states = UP_STATES if self._up_at(at_ns) else DOWN_STATES
        return states[self._plan.protocol]


def _covers(absence: Absence, at_ns: int) -> bool:
    return absence.start_ns <= at_ns and (absence.end_ns is None or at_ns < absence.end_ns)


def _events(absence: Absence) -> list[NeighborEvent]:
    begin, end = (
        (NeighborChange.RESTARTING, NeighborChange.RESTARTED)
        if absence.graceful
        else (NeighborChange.DOWN, NeighborChange.UP)
    )
    events = [NeighborEvent(absence.start_ns, begin, f"simulated: {begin}")]
    if absence.end_ns is not None:
        events.append(NeighborEvent(absence.end_ns, end, f"simulated: {end}"))
    return events
