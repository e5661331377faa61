"""A plan: every trial of a run, decided before anything is opened."""

from dataclasses import dataclass

from qualify.plan.addressing import PortAddresses
from qualify.plan.stream import Stream
from qualify.testbed.case import Case
from qualify.testbed.image import Image
from qualify.testbed.testbed import PathKind, Testbed


@dataclass(frozen=True, slots=True)
class PeerPlan:
    """A routing peer of the tester: where it stands, whom it speaks to, what it originates.

    ``expected_routes`` is how many routes it must learn through the device before a trial.
    Timers are in seconds: hello and dead interval (OSPF), keepalive and hold time (BGP).
    """

    port: str
    path: str
    kind: PathKind
    protocol: str
    here: PortAddresses
    expected_routes: int
    local_as: int
    dut_as: int
    hello_s: int
    hold_s: int


@dataclass(frozen=True, slots=True)
class TrialPlan:
    """One trial: one upgrade of all devices of the testbed with traffic on the case's paths.

    ``steady_ns`` is how long traffic must run clean before the upgrade; ``recover_ns`` how long it
    must run clean afterwards; ``settle_ns`` how long after the activate command a fault can stay
    hidden by a timer; ``patience_ns`` how long the upgrade may take at all.
    """

    case: Case
    number: int
    streams: tuple[Stream, ...]
    steady_ns: int
    recover_ns: int
    settle_ns: int
    patience_ns: int

    @property
    def name(self) -> str:
        """What people call it: ``mixed-one-tier-trial1``."""
        return f"{self.case.name}-trial{self.number}"


@dataclass(frozen=True, slots=True)
class Plan:
    """All trials of a run, the release under qualification and the one it starts from.

    ``left_out`` names the cases that do not fit this testbed, each with the reason; ``remarks``
    are for whoever starts the run.
    """

    testbed: Testbed
    target: Image
    source: Image
    addresses: dict[str, PortAddresses]
    peers: tuple[PeerPlan, ...]
    trials: tuple[TrialPlan, ...]
    left_out: tuple[tuple[Case, str], ...]
    remarks: tuple[str, ...] = ()
