"""What is kept of a run, field by field as it stands in ``record.json``.

Fields without a default are the essential ones: a record that lacks one is refused. Durations are
whole nanoseconds here and carry ``_ms`` or ``_s`` in the file. ``None``: not known, ``null`` there.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from qualify.record.written import WrittenInMs, WrittenInS
from qualify.verdict.verdict import Outcome


class DecisionWord(StrEnum):
    """What a run says about its release."""

    QUALIFIED = "qualified"
    NOT_QUALIFIED = "not qualified"
    NOT_PROVEN = "not proven"


@dataclass(frozen=True, slots=True)
class PathRecord:
    """A path of the testbed and its scale: hosts on each side, or routes of the whole path.

    ``headers`` and ``vlans`` are those of its test frames, the VLAN id of the outer tag first.
    """

    name: str
    kind: str
    protocol: str | None
    ports: tuple[str, ...]
    hosts: int | None
    routes: int | None
    headers: str | None = None
    vlans: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class TestbedRecord:
    """The testbed; ``sha256`` is that of its file."""

    __test__ = False

    name: str
    kind: str
    sha256: str
    traffic: str | None = None
    tiers: int | None = None
    paths: tuple[PathRecord, ...] = ()


@dataclass(frozen=True, slots=True)
class ImageRecord:
    """A software image; ``sha256`` is that of what the device was given."""

    name: str
    maker: str
    model: str
    train: str
    release: str
    sha256: str


@dataclass(frozen=True, slots=True)
class ToolRecord:
    """This program."""

    version: str


@dataclass(frozen=True, slots=True)
class MachineRecord:
    """The machine that measured, without its name: versions of what can change a figure."""

    kernel: str | None = None
    architecture: str | None = None
    cpus: int | None = None
    python: str | None = None
    packages: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BudgetRecord:
    """The outage that a case allows on a path, in each direction."""

    path: str
    outage_ns: WrittenInMs


@dataclass(frozen=True, slots=True)
class CaseRecord:
    """What a case asked for, so that its trials can be judged again; sizes as in StreamRecord."""

    case: str
    required_trials: int
    order: str
    tiers: int
    offered_load_pps: int
    frame_octets: int
    budgets: tuple[BudgetRecord, ...]
    allowed_flaps: int
    graceful_restarts_allowed: bool
    allowed_lost_routes: int
    sha256: str
    frame_sizes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class LeftOutRecord:
    """A case that was not run, and why."""

    case: str
    reason: str


@dataclass(frozen=True, slots=True)
class PhaseRecord:
    """A phase of a trial, on the bench's clock."""

    name: str
    start_ns: int
    end_ns: int


@dataclass(frozen=True, slots=True)
class PortRecord:
    """Test frames at a device port, as the device counted them."""

    port: str
    received: int
    sent: int


@dataclass(frozen=True, slots=True)
class DutRecord:
    """A device under test. ``dropped_frames`` is its own count: evidence, never a figure.

    ``upgrade_ns`` is ``None`` when the upgrade never finished.
    """

    name: str
    tier: int
    release_before: str | None
    release_after: str | None
    upgrade_ns: WrittenInS | None
    dropped_frames: int | None
    ports: tuple[PortRecord, ...] = ()
    problem: str = ""
    verdict: Outcome | None = None
    reason: str = ""
    activated_ns: int | None = None


@dataclass(frozen=True, slots=True)
class LossPeriodRecord:
    """A loss period and the bounds of the outage behind it."""

    first_lost: int
    lost_frames: int
    started_ns: int
    outage_low_ns: WrittenInMs
    outage_high_ns: WrittenInMs


@dataclass(frozen=True, slots=True)
class DestinationRecord:
    """A destination with loss, by name."""

    name: str
    sent: int
    lost: int
    outage_low_ns: WrittenInMs
    outage_high_ns: WrittenInMs


@dataclass(frozen=True, slots=True)
class DoubtRecord:
    """Something that the tester itself did and that can touch a stream.

    ``frames`` and ``longest_ns`` are ``None`` where nobody knows, or where they are no measure.
    """

    kind: str
    frames: int | None
    longest_ns: WrittenInMs | None
    words: str


@dataclass(frozen=True, slots=True)
class StreamRecord:
    """The figures of a stream.

    ``frame_octets`` is the first of ``frame_sizes``, which follow one another; a record of an
    earlier version, with one size only, does not list them. ``loss_periods`` counts all of them,
    ``loss_period_details`` holds the first ones only.
    ``duplicate``, ``reordered``, ``loss_periods`` and ``longest_ns`` are ``None`` where only totals
    are known that do not tell them; without ``duplicate``, ``lost`` is the least that was lost.
    ``reaches_edge``: the first or the last frame was lost, so nobody saw the whole outage and its
    upper bound holds for the trial only.
    ``undecidable``: late frames that nobody can place; so many of ``lost`` may have arrived.
    ``outage_method``: ``lost-by-rate``, or ``transmit-times`` where the sender left its pace, so
    that lost ÷ rate lies outside of ``time_low_ns`` and ``time_high_ns``; ``None`` without loss.
    """

    path: str
    kind: str
    direction: str
    intended_pps: int
    offered_pps: float | None
    frame_octets: int
    sent: int
    received: int
    lost: int
    duplicate: int | None
    reordered: int | None
    loss_periods: int | None
    outage_ns: WrittenInMs
    outage_low_ns: WrittenInMs
    outage_high_ns: WrittenInMs
    longest_ns: WrittenInMs | None
    receive_gap_ns: WrittenInMs | None
    max_delay_ns: WrittenInMs | None
    tester_dropped: int | None
    budget_ns: WrittenInMs | None
    verdict: Outcome
    reason: str
    longest_stall_ns: WrittenInMs | None = None
    destinations: int | None = None
    destinations_with_loss: int | None = None
    worst_destinations: tuple[DestinationRecord, ...] = ()
    loss_period_details: tuple[LossPeriodRecord, ...] = ()
    reaches_edge: bool | None = None
    frame_sizes: tuple[int, ...] = ()
    doubts: tuple[DoubtRecord, ...] = ()
    undecidable: int | None = None
    outage_method: str | None = None
    time_low_ns: WrittenInMs | None = None
    time_high_ns: WrittenInMs | None = None


@dataclass(frozen=True, slots=True)
class RouteRecord:
    """The routes of one direction; ``worst_outage_ns`` is the upper bound of the worst one."""

    path: str
    direction: str
    advertised: int
    before: int | None
    lowest: int | None
    after: int | None
    routes_with_loss: int | None
    worst_outage_ns: WrittenInMs | None
    verdict: Outcome | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class NeighborEventRecord:
    """A change that the peer saw, and its words for it."""

    at_ns: int
    change: str
    words: str


@dataclass(frozen=True, slots=True)
class NeighborRecord:
    """A session of the device, from its peer's side."""

    path: str
    observer: str
    protocol: str
    before: str | None
    after: str | None
    flaps: int
    graceful_restarts: int
    longest_silence_ns: WrittenInMs | None
    hold_ns: WrittenInMs | None
    events: tuple[NeighborEventRecord, ...] = ()
    verdict: Outcome | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TrialRecord:
    """A trial; ``problem`` is set when the bench broke off."""

    case: str
    trial: int
    order: str
    verdict: Outcome
    reason: str
    phases: tuple[PhaseRecord, ...]
    duts: tuple[DutRecord, ...]
    streams: tuple[StreamRecord, ...]
    routes: tuple[RouteRecord, ...]
    neighbors: tuple[NeighborRecord, ...]
    steady_verdict: Outcome | None = None
    steady_reason: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """A run. ``finished`` is ``None`` when it was interrupted, or is still going on."""

    run: str
    started: datetime
    finished: datetime | None
    train: str
    release: str
    from_release: str
    verdict: DecisionWord
    reason: str
    testbed: TestbedRecord
    tool: ToolRecord
    machine: MachineRecord
    trials: tuple[TrialRecord, ...]
    image: ImageRecord | None = None
    from_image: ImageRecord | None = None
    cases: tuple[CaseRecord, ...] = ()
    left_out: tuple[LeftOutRecord, ...] = ()
