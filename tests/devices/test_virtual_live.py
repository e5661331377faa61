"""A virtual device on this machine: real OSPF and BGP, real frames, both ways to upgrade."""

import hashlib
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path as FilePath

import pytest

from qualify.clock import RealClock
from qualify.devices.device import Verification
from qualify.devices.virtual import VirtualDevice
from qualify.errors import DeviceError, ImageRefusedError
from qualify.lab.lab import Lab
from qualify.measure.observation import NeighborChange, PortCount
from qualify.peers.bird import BirdPeer
from qualify.plan.peers import plan_peers
from qualify.site import Site
from qualify.testbed.image import Image, UpgradeMethod, VirtualBehaviour
from qualify.testbed.testbed import BenchKind, Path, PathKind
from tests.lab.live_frames import Receiver, build_frame, sent_by, start_sender
from tests.sample import TESTBED, image

pytestmark = pytest.mark.live

PATIENCE_S = 60
PORTS = ("p3", "p4", "p5", "p6")
OSPF_ROUTES, BGP_ROUTES = 200, 1000
COLD = """\
router bgp 65000
 bgp graceful-restart-disable
exit
router ospf
 no graceful-restart
exit
"""


@dataclass(frozen=True)
class World:
    """A lab, its device, its peers by tester port, and a folder for images."""

    lab: Lab
    device: VirtualDevice
    peers: dict[str, BirdPeer]
    folder: FilePath

    def image(self, release: str, payload: str = "! nothing\n", method: str = "graceful") -> Image:
        """Make an image with this payload and its right sum."""
        file = self.folder / f"{release}.conf"
        file.write_text(payload)
        return replace(
            image(release),
            driver="virtual",
            payload=file,
            sha256=hashlib.sha256(payload.encode()).hexdigest(),
            behaviour=VirtualBehaviour(UpgradeMethod(method), boot_s=2.0, kept_routes_s=5),
        )

    def converged(self) -> bool:
        """Tell whether peers and device know everything that they should."""
        learned = [(self.peers[port].up(), self.peers[port].routes()) for port in PORTS]
        return learned == [
            (True, 100),
            (True, 100),
            (True, 500),
            (True, 500),
        ] and self.device.tables().routes == {"ospf": OSPF_ROUTES, "bgp": BGP_ROUTES}

    def upgrade(self, target: Image) -> Verification:
        """Upgrade, and wait until the device says that it is done."""
        self.device.install(target)
        self.device.activate()
        assert not self.device.verify().finished
        await_that(lambda: self.device.verify().finished)
        return self.device.verify()

    def changes(self, since_ns: int) -> dict[str, list[NeighborChange]]:
        """Return what each peer saw since then."""
        return {
            port: [event.change for event in peer.history(since_ns=since_ns).events]
            for port, peer in self.peers.items()
        }


def await_that(condition: Callable[[], bool], *, patience_s: float = PATIENCE_S) -> None:
    """Wait until a condition holds."""
    deadline = time.monotonic() + patience_s
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.05)


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """Bring up 200 OSPF and 1000 BGP routes on release 5.1.0, once for all tests here."""
    testbed = replace(
        TESTBED,
        name=f"virtual-{os.getpid()}",
        kind=BenchKind.VIRTUAL,
        paths=(
            Path("l2", PathKind.L2, None, ("p1", "p2"), hosts=10, routes=None),
            Path("igp", PathKind.IGP, "ospf", ("p3", "p4"), hosts=None, routes=OSPF_ROUTES),
            Path("egp", PathKind.EGP, "bgp", ("p5", "p6"), hosts=None, routes=BGP_ROUTES),
        ),
    )
    with Lab(testbed) as lab:
        site = Site(testbed, RealClock(), lab, None)
        device = VirtualDevice(testbed.duts[0], site)
        peers = {plan.port: BirdPeer(plan, site) for plan in plan_peers(testbed)}
        for peer in peers.values():
            peer.start()
        yield World(lab, device, peers, tmp_path_factory.mktemp("images"))
        device.close()


@pytest.fixture
def ready(world: World) -> World:
    """Start from the source release, with everything learned."""
    if not world.converged() or world.device.facts().release != "5.1.0":
        world.device.restore(world.image("5.1.0"))
        await_that(world.converged)
    return world


def probe(lab: Lab, *, count: int, gap_s: float) -> Callable[[], dict[str, tuple[int, int]]]:
    """Send on every path, first port to second; the function returned waits for (sent, received).

    Destinations are the first host of each path, and the first route behind the second port.
    Returns as soon as frames arrive at the device on all paths.
    """
    before = lab.frame_counts("d1")
    frames = {
        "p1": ("02:00:01:00:00:00", "02:00:01:01:00:00", "198.18.1.11", "198.19.1.11"),
        "p3": (*_macs(lab, "p3"), "198.18.65.1", "198.19.65.1"),
        "p5": (*_macs(lab, "p5"), "198.18.66.145", "198.19.66.145"),
    }
    receivers = {port: Receiver(lab, f"p{int(port[1]) + 1}") for port in frames}
    senders = {
        port: start_sender(
            lab, port, build_frame(mac, to, source=a, target=b), count=count, gap_s=gap_s
        )
        for port, (mac, to, a, b) in frames.items()
    }
    await_that(
        lambda: all(
            new.received > old.received
            for old, new in list(zip(before, lab.frame_counts("d1"), strict=True))[::2]
        )
    )

    def finish() -> dict[str, tuple[int, int]]:
        sent = {port: sent_by(sender) for port, sender in senders.items()}
        return {port: (sent[port], receivers[port].count()) for port in sent}

    return finish


def _macs(lab: Lab, port: str) -> tuple[str, str]:
    cable = lab.port_access(port)
    return cable.mac, cable.gateway_mac


def passed(before: tuple[PortCount, ...], after: tuple[PortCount, ...]) -> dict[str, int]:
    """Return frames in minus frames out for each path since before, first port to second."""
    into = [new.received - old.received for old, new in zip(before, after, strict=True)]
    out = [new.sent - old.sent for old, new in zip(before, after, strict=True)]
    return {f"p{n + 1}": into[n] - out[n + 1] for n in (0, 2, 4)}


def test_routes_and_neighbors_come_up_with_both_protocols(ready: World) -> None:
    facts, tables = ready.device.facts(), ready.device.tables()

    assert (facts.maker, facts.model, facts.release) == ("Ostrevane", "Tern 6", "5.1.0")
    assert facts.redundancy == {"ospf graceful restart": True, "bgp graceful restart": True}
    assert sorted(neighbor.address for neighbor in tables.neighbors if neighbor.up) == [
        "198.18.2.10",
        "198.18.3.10",
        "198.19.2.10",
        "198.19.3.10",
    ]
    assert ready.peers["p3"].history(since_ns=0).after == "Full"
    assert ready.peers["p5"].history(since_ns=0).after == "Established"


def test_no_daemon_runs_in_the_machines_own_network(ready: World) -> None:
    own = FilePath("/proc/self/ns/net").readlink()
    root = f"/proc/{ready.lab.first_process}/ns/pid"
    inside = [
        (process / "comm").read_text().strip()
        for process in FilePath("/proc").glob("[0-9]*")
        if _link(process / "ns" / "pid") == FilePath(root).readlink()
        and _link(process / "ns" / "net") != own
    ]

    assert sorted(name for name in inside if name != "cat") == [
        *("bgpd", "bird", "bird", "bird", "bird", "ospfd", "zebra")
    ]


def _link(file: FilePath) -> FilePath | None:
    try:
        return file.readlink()
    except OSError:
        return None


def test_a_graceful_upgrade_loses_nothing_and_no_peer_flaps(ready: World) -> None:
    started_ns = time.time_ns()
    finish = probe(ready.lab, count=3000, gap_s=0.002)

    verification = ready.upgrade(ready.image("5.2.0"))

    assert verification == Verification("5.2.0", finished=True, message="")
    assert ready.device.tables().routes == {"ospf": OSPF_ROUTES, "bgp": BGP_ROUTES}
    assert finish() == {"p1": (3000, 3000), "p3": (3000, 3000), "p5": (3000, 3000)}
    restarted = [NeighborChange.RESTARTING, NeighborChange.RESTARTED]
    await_that(lambda: all(seen == restarted for seen in ready.changes(started_ns).values()))
    assert ready.converged()


def test_a_wrong_sum_is_refused_and_nothing_is_touched(ready: World) -> None:
    started_ns = time.time_ns()
    wrong = replace(ready.image("5.2.0-rc1"), sha256="f" * 64)

    with pytest.raises(ImageRefusedError, match=r"d1 refused 5.2.0-rc1: .*the manifest says fff"):
        ready.device.install(wrong)

    with pytest.raises(DeviceError, match=r"^d1 cannot activate: no image is installed\n"):
        ready.device.activate()
    assert ready.device.facts().release == "5.1.0"
    assert ready.changes(started_ns) == {port: [] for port in PORTS}


def test_a_cold_upgrade_loses_frames_to_the_frame_and_its_peers_flap(ready: World) -> None:
    started_ns = time.time_ns()
    before = ready.lab.frame_counts("d1")
    finish = probe(ready.lab, count=3500, gap_s=0.002)
    target = ready.image("5.2.0-rc2", COLD, "cold")

    ready.device.install(target)
    ready.device.activate()
    with pytest.raises(DeviceError, match=r"^d1 cannot activate: an upgrade is under way\n"):
        ready.device.activate()
    ip = ready.lab.programs.path("ip")
    assert "LOWER_UP" in ready.lab.namespace("p1").run(ip, "link", "show", "p1")
    await_that(lambda: ready.device.verify().finished)

    assert ready.device.verify() == Verification("5.2.0-rc2", finished=True, message="")
    assert not any(ready.device.facts().redundancy.values())
    counted = finish()
    lost = {port: sent - received for port, (sent, received) in counted.items()}
    assert lost == passed(before, ready.lab.frame_counts("d1"))
    assert all(1000 <= frames <= 3500 for frames in lost.values())
    await_that(ready.converged)
    for seen in ready.changes(started_ns).values():
        assert seen[-2:] == [NeighborChange.DOWN, NeighborChange.UP]
        assert NeighborChange.RESTARTED not in seen


def test_software_that_does_not_understand_its_configuration_says_so(ready: World) -> None:
    verification = ready.upgrade(ready.image("5.2.0-rc9", "router ospf\n no such word\nexit\n"))

    assert verification.release is None
    assert "Unknown command" in verification.message
    with pytest.raises(DeviceError, match=r"^d1 runs no software now\n  fix: wait until its"):
        ready.device.facts()


def test_a_device_whose_daemons_died_does_not_answer(ready: World) -> None:
    ready.device._frr.end("KILL")

    with pytest.raises(DeviceError, match=r"^d1 does not answer: .*failed to connect to any"):
        ready.device.facts()
    assert ready.device.verify().release is None


def test_an_image_for_another_kind_of_device_is_refused(ready: World) -> None:
    with pytest.raises(DeviceError, match=r"^images/5.2.0.yaml: tern6-5.2.0 is made for a device"):
        ready.device.install(image("5.2.0"))
