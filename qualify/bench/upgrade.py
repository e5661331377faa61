"""The upgrade of one device or of several at once: the command, the wait, the recovery."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from qualify.bench.bench import Bench
from qualify.bench.phases import Phases
from qualify.bench.readiness import all_in_service
from qualify.bench.tables import RouteWatch
from qualify.bench.watch import POLL_S, TrafficWatch
from qualify.devices.device import Verification
from qualify.plan.trial import TrialPlan
from qualify.testbed.case import Order


class Upgrade:
    """Upgrades the devices of a trial in its order, and keeps when and how each one ended.

    Attributes:
        activated_ns: when each device was given the command.
        finished_ns: when each device said that it was done; absent when it never did.
        verified: what each device said last.
    """

    def __init__(self, bench: Bench, trial: TrialPlan, phases: Phases) -> None:
        self._bench = bench
        self._trial = trial
        self._phases = phases
        self.activated_ns: dict[str, int] = {}
        self.finished_ns: dict[str, int] = {}
        self.verified: dict[str, Verification] = {}

    def run(self, traffic: TrafficWatch, routes: RouteWatch) -> None:
        """Upgrade all devices; the next one of a rolling order waits for the last to recover."""
        for duts in self._turns():
            mark = f" {duts[0]}" if self._trial.case.order is Order.ROLLING else ""
            with self._phases.phase(f"activate{mark}"):
                self._activate(duts)
            with self._phases.phase(f"verify{mark}"):
                self._verify(duts, traffic, routes)
            with self._phases.phase(f"recover{mark}"):
                self._recover(duts, traffic, routes)

    def _turns(self) -> list[Sequence[str]]:
        names = list(self._bench.devices)
        rolling = self._trial.case.order is Order.ROLLING
        return [[name] for name in names] if rolling else [names]

    def _activate(self, duts: Sequence[str]) -> None:
        with ThreadPoolExecutor(max_workers=len(duts)) as pool:
            for dut, at_ns in zip(duts, pool.map(self._activate_one, duts), strict=True):
                self.activated_ns[dut] = at_ns

    def _activate_one(self, dut: str) -> int:
        at_ns = self._bench.site.clock.now_ns()
        self._bench.devices[dut].activate()
        return at_ns

    def _verify(self, duts: Sequence[str], traffic: TrafficWatch, routes: RouteWatch) -> None:
        clock = self._bench.site.clock
        deadline_ns = clock.now_ns() + self._trial.patience_ns
        waiting = list(duts)
        while waiting and clock.now_ns() < deadline_ns:
            clock.sleep(POLL_S)
            traffic.poll()
            routes.read_now_and_then()
            waiting = [dut for dut in waiting if not self._has_finished(dut)]

    def _has_finished(self, dut: str) -> bool:
        self.verified[dut] = self._bench.devices[dut].verify()
        if self.verified[dut].finished:
            self.finished_ns[dut] = self._bench.site.clock.now_ns()
        return self.verified[dut].finished

    def _recover(self, duts: Sequence[str], traffic: TrafficWatch, routes: RouteWatch) -> None:
        """Wait until traffic is clean for long enough and no timer can hide a fault any more.

        A device that does not recover is waited for as long as the upgrade may take at all; then
        the trial goes on, and the figures say what is wrong.
        """
        clock, trial = self._bench.site.clock, self._trial
        start_ns = clock.now_ns()
        settled_ns = max(self.activated_ns[dut] for dut in duts) + trial.settle_ns
        while clock.now_ns() < start_ns + trial.patience_ns:
            quiet_ns = clock.now_ns() - max(traffic.quiet_since_ns(), start_ns)
            routes.read_now_and_then()
            settled = clock.now_ns() >= settled_ns
            if settled and quiet_ns >= trial.recover_ns and all_in_service(self._bench, trial):
                return
            clock.sleep(POLL_S)
