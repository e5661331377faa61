"""A bench: the testbed of a plan, opened and running, and closed again whatever happens."""

import secrets
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

from qualify.bench.plugs import open_device, open_peer, open_traffic
from qualify.bench.telling import Event, Tell
from qualify.clock import Clock, RealClock, VirtualClock
from qualify.devices.device import Device
from qualify.lab.lab import Lab
from qualify.measure.observation import PortCount
from qualify.peers.peer import Peer
from qualify.plan.limit import Limit
from qualify.plan.trial import Plan
from qualify.simulation.simulation import Simulation
from qualify.site import Site
from qualify.testbed.testbed import BenchKind, Testbed
from qualify.traffic.backend import PortAccess, TrafficBackend


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything that a trial needs: devices by name, peers by tester port, one backend.

    ``run_id`` goes into every frame, so that frames of an earlier run are never counted.
    """

    plan: Plan
    site: Site
    devices: Mapping[str, Device]
    peers: Mapping[str, Peer]
    traffic: TrafficBackend
    run_id: int
    tell: Tell

    def say(self, kind: str, words: str, *, trial: str = "") -> None:
        """Tell that something happens now."""
        self.tell(Event(self.site.clock.now_ns(), kind, trial, words))

    def ports(self) -> dict[str, PortAccess]:
        """Return how the backend reaches each tester port; empty in a simulation."""
        lab = self.site.lab
        if lab is None:
            return {}
        cables = {port.name: lab.port_access(port.name) for port in self.plan.testbed.tester.ports}
        return {
            name: PortAccess(
                interface=cable.interface,
                mac=cable.mac,
                gateway_mac=cable.gateway_mac,
                namespace=cable.namespace,
            )
            for name, cable in cables.items()
        }

    def port_counts(self, dut: str) -> tuple[PortCount, ...]:
        """Return the device's own counts of test frames; empty where nothing can count them."""
        return self.site.lab.frame_counts(dut) if self.site.lab else ()


def clock_for(testbed: Testbed) -> Clock:
    """Return a clock for a run: virtual time where everything is simulated, else real time."""
    real = RealClock()
    return VirtualClock(real.now_ns()) if testbed.kind is BenchKind.SIMULATED else real


def backend_limit(testbed: Testbed) -> Limit:
    """Ask the testbed's traffic backend what it can do, before anything is opened.

    Raises:
        BenchError: no backend of that name is installed.
    """
    return open_traffic(_site(testbed, RealClock(), lab=None)).limit


@contextmanager
def open_bench(plan: Plan, *, clock: Clock, tell: Tell) -> Iterator[Bench]:
    """Open the bench of a plan: lab or simulation, devices on the source release, peers, backend.

    Everything is given back in reverse order, also when a part of it fails.

    Raises:
        QualifyError: a part of the bench cannot be opened; nothing of it is left.
    """
    with ExitStack() as stack:
        tell(Event(clock.now_ns(), "bench", "", f"open {plan.testbed.name} ({plan.testbed.kind})"))
        lab = None
        if plan.testbed.kind is BenchKind.VIRTUAL:
            lab = stack.enter_context(Lab(plan.testbed))
        site = _site(plan.testbed, clock, lab=lab)
        devices = {dut.name: open_device(dut, site) for dut in plan.testbed.duts}
        for device in devices.values():
            stack.callback(device.close)
            device.restore(plan.source)
        peers = {each.port: open_peer(each, site) for each in plan.peers}
        for peer in peers.values():
            stack.callback(peer.stop)
            peer.start()
        traffic = open_traffic(site)
        stack.callback(traffic.close)
        yield Bench(plan, site, devices, peers, traffic, secrets.randbits(32), tell)
        tell(Event(clock.now_ns(), "bench", "", "close"))


def _site(testbed: Testbed, clock: Clock, *, lab: Lab | None) -> Site:
    simulated = testbed.kind is BenchKind.SIMULATED
    return Site(testbed, clock, lab, Simulation(testbed, clock) if simulated else None)
