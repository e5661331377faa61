"""One trial: traffic, one upgrade of all devices, recovery, and everything that was seen."""

from qualify.bench.bench import Bench
from qualify.bench.phases import Phases
from qualify.bench.readiness import wait_until_ready
from qualify.bench.tables import RouteWatch, neighbor_histories
from qualify.bench.upgrade import Upgrade
from qualify.bench.watch import TrafficWatch
from qualify.errors import DeviceError, QualifyError
from qualify.measure.capture import Capture
from qualify.measure.observation import DutObservation, Observation, PortCount
from qualify.plan.trial import TrialPlan

# RFC 6412 §3.7.6, RFC 2544 §23: what has not arrived 2 s after the last frame left is lost.
FORWARDING_DELAY_THRESHOLD_S = 2.0


def run_trial(bench: Bench, trial: TrialPlan) -> Observation:
    """Run one trial and return what was seen; afterwards the devices run the source release.

    A bench that does not reach the state that the trial needs is no exception here: it gives an
    observation with a ``problem`` and without captures. A device that cannot be restored is told
    as a note; the check of the next trial finds it and names it.
    """
    run = _TrialRun(bench, trial)
    try:
        observation = run.observe()
    except QualifyError as error:
        bench.traffic.close()
        observation = run.broken_off(error)
    run.restore()
    return observation


class _TrialRun:
    def __init__(self, bench: Bench, trial: TrialPlan) -> None:
        self._bench = bench
        self._trial = trial
        self._phases = Phases(bench, trial.name)
        self._routes = RouteWatch(bench, trial)
        self._traffic = TrafficWatch(bench, trial)
        self._upgrade = Upgrade(bench, trial, self._phases)
        self._releases_before: dict[str, str] = {}
        self._ports_before: dict[str, tuple[PortCount, ...]] = {}

    def observe(self) -> Observation:
        bench = self._bench
        with self._phases.phase("check"):
            self._check()
        with self._phases.phase("steady") as since_ns:
            bench.traffic.open(self._trial.streams, bench.ports(), run_id=bench.run_id)
            bench.traffic.start()
            self._traffic.wait_for_arrivals()
            self._traffic.watch_steady()
        with self._phases.phase("install"):
            for device in bench.devices.values():
                device.install(bench.plan.target)
        self._upgrade.run(self._traffic, self._routes)
        with self._phases.phase("count"):
            captures = self._count()
        with self._phases.phase("compare"):
            self._routes.read()
            neighbors = neighbor_histories(bench, self._trial, since_ns=since_ns)
            duts = tuple(map(self._observe_dut, bench.devices))
        return Observation(
            self._phases.spans(), captures, neighbors, self._routes.histories(), duts, problem=""
        )

    def broken_off(self, error: QualifyError) -> Observation:
        self._bench.say("note", str(error), trial=self._trial.name)
        return Observation(
            phases=self._phases.spans(),
            captures=(),
            neighbors=(),
            routes=self._routes.histories(),
            duts=tuple(map(self._observe_dut, self._bench.devices)),
            problem=error.problem,
        )

    def restore(self) -> None:
        if not self._upgrade.activated_ns:
            return
        with self._phases.phase("restore"):
            for device in self._bench.devices.values():
                try:
                    device.restore(self._bench.plan.source)
                except QualifyError as error:
                    self._bench.say("note", str(error), trial=self._trial.name)

    def _check(self) -> None:
        bench = self._bench
        self._releases_before = wait_until_ready(bench, self._trial)
        self._routes.read()
        self._ports_before = {dut: bench.port_counts(dut) for dut in bench.devices}

    def _count(self) -> tuple[Capture, ...]:
        traffic, clock = self._bench.traffic, self._bench.site.clock
        traffic.stop()
        clock.sleep(FORWARDING_DELAY_THRESHOLD_S)
        captures = traffic.collect()
        traffic.close()
        return captures

    def _observe_dut(self, name: str) -> DutObservation:
        activated_ns = self._upgrade.activated_ns.get(name)
        finished_ns = self._upgrade.finished_ns.get(name)
        verified = self._upgrade.verified.get(name)
        return DutObservation(
            name=name,
            tier=self._bench.plan.testbed.dut(name).tier,
            release_before=self._releases_before.get(name),
            release_after=self._running(name),
            upgrade_ns=None
            if activated_ns is None or finished_ns is None
            else finished_ns - activated_ns,
            problem=verified.message if verified else "",
            ports=self._port_counts(name),
            activated_ns=activated_ns,
        )

    def _running(self, name: str) -> str | None:
        try:
            return self._bench.devices[name].facts().release
        except DeviceError as error:
            self._bench.say("note", str(error), trial=self._trial.name)
            return None

    def _port_counts(self, name: str) -> tuple[PortCount, ...]:
        before = {count.port: count for count in self._ports_before.get(name, ())}
        return tuple(
            PortCount(
                port=now.port,
                received=now.received - before[now.port].received,
                sent=now.sent - before[now.port].sent,
            )
            for now in self._bench.port_counts(name)
            if now.port in before
        )
