"""The simulated world: devices whose every upgrade goes as its image's manifest says."""

from dataclasses import dataclass

from qualify.clock import Clock
from qualify.simulation.route import duts_on
from qualify.testbed.image import (
    Image,
    SimulatedBehaviour,
    SimulatedNeighbors,
    SimulatedOutcome,
)
from qualify.testbed.testbed import Path, Testbed
from qualify.units import NS_PER_S

# A session is lost this long after the activate command, and again this long after it came back.
SESSION_LOSS_DELAY_NS = NS_PER_S


@dataclass(frozen=True, slots=True)
class Blackout:
    """A time in which one of ``every`` frames is lost in one direction of a path."""

    start_ns: int
    end_ns: int
    every: int


@dataclass(frozen=True, slots=True)
class Absence:
    """A time in which a peer does not see its session with the device in service.

    ``end_ns`` is ``None`` when the session never comes back. ``graceful`` tells whether the peer
    kept the routes meanwhile (RFC 3623, RFC 4724).
    """

    start_ns: int
    end_ns: int | None
    graceful: bool


@dataclass(slots=True)
class _Upgrade:
    image: Image
    behaviour: SimulatedBehaviour
    activated_ns: int


class Simulation:
    """All simulated devices of a testbed, on one clock.

    Drivers, peers and the traffic backend of kind ``simulated`` ask it what is true.
    """

    def __init__(self, testbed: Testbed, clock: Clock) -> None:
        self.testbed = testbed
        self.clock = clock
        self._running: dict[str, Image] = {}
        self._upgrades: dict[str, _Upgrade] = {}

    def boot(self, dut: str, image: Image) -> None:
        """Let a device run an image, as if it had always done so."""
        self._running[dut] = image
        self._upgrades.pop(dut, None)

    def upgrade(self, dut: str, image: Image) -> None:
        """Let a device start its upgrade now."""
        assert isinstance(image.behaviour, SimulatedBehaviour), "the reader pairs them"
        self._upgrades[dut] = _Upgrade(image, image.behaviour, self.clock.now_ns())

    def running(self, dut: str) -> Image | None:
        """Return the image that a device runs now; ``None`` while it cannot be asked."""
        upgrade = self._upgrades.get(dut)
        if upgrade is None:
            return self._running[dut]
        if not self.finished(dut):
            return None
        fell_back = upgrade.behaviour.outcome is SimulatedOutcome.FELL_BACK
        return self._running[dut] if fell_back else upgrade.image

    def finished(self, dut: str) -> bool:
        """Tell whether a device is done with its upgrade; one that never comes back never is."""
        upgrade = self._upgrades.get(dut)
        if upgrade is None or upgrade.behaviour.outcome is SimulatedOutcome.NEVER_BACK:
            return upgrade is None
        return self.clock.now_ns() >= upgrade.activated_ns + upgrade.behaviour.upgrade_ns

    def fell_back(self, dut: str) -> bool:
        """Tell whether a device returned to the release that it came from."""
        upgrade = self._upgrades.get(dut)
        return (
            upgrade is not None
            and self.finished(dut)
            and upgrade.behaviour.outcome is SimulatedOutcome.FELL_BACK
        )

    def blackouts(self, path: Path, *, towards: int) -> tuple[Blackout, ...]:
        """Return all blackouts of a path towards one of its two ports, in order of time."""
        found = [
            Blackout(
                start_ns=upgrade.activated_ns + each.after_ns,
                end_ns=upgrade.activated_ns + each.after_ns + each.outage_ns,
                every=each.every,
            )
            for upgrade in self._upgrades_on(path)
            for each in upgrade.behaviour.interruptions.get(path.kind, ())
            if each.towards in (None, towards)
        ]
        return tuple(sorted(found, key=lambda blackout: blackout.start_ns))

    def absences(self, path: Path, dut: str) -> tuple[Absence, ...]:
        """Return the absences of a path's session with one device, in order of time."""
        upgrade = self._upgrades.get(dut)
        if upgrade is None or path.kind not in upgrade.behaviour.neighbors:
            return ()
        truth = upgrade.behaviour.neighbors[path.kind]
        return _absences(truth, first_ns=upgrade.activated_ns + SESSION_LOSS_DELAY_NS)

    def routes_lost(self, path: Path) -> int:
        """Count the routes of a path that are missing now, in each direction."""
        return sum(
            upgrade.behaviour.routes_lost.get(path.kind, 0)
            for upgrade in self._upgrades_on(path)
            if self.clock.now_ns() >= upgrade.activated_ns + SESSION_LOSS_DELAY_NS
        )

    def _upgrades_on(self, path: Path) -> list[_Upgrade]:
        on_path = duts_on(self.testbed, path)
        return [upgrade for dut, upgrade in self._upgrades.items() if dut in on_path]


def _absences(truth: SimulatedNeighbors, *, first_ns: int) -> tuple[Absence, ...]:
    kinds = [True] * truth.graceful_restarts + [False] * truth.flaps
    spacing_ns = truth.down_ns + SESSION_LOSS_DELAY_NS
    starts = [first_ns + number * spacing_ns for number in range(len(kinds) + 1)]
    seen = [
        Absence(start, start + truth.down_ns, graceful)
        for start, graceful in zip(starts, kinds, strict=False)
    ]
    if truth.stays_down:
        seen.append(Absence(starts[-1], None, graceful=False))
    return tuple(seen)
