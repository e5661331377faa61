"""What a traffic backend hands over for one stream: what left, what arrived, and what it doubts."""

from dataclasses import dataclass
from enum import StrEnum

from qualify.measure.arrivals import Arrivals
from qualify.measure.totals import Totals
from qualify.measure.transmission import Transmission

__all__ = ["Capture", "Doubt", "DoubtKind", "Transmission"]


class DoubtKind(StrEnum):
    """What the tester did, or what happened to it."""

    RING_DROPS = "ring-drops"
    BACKLOG_DROPS = "backlog-drops"
    INTERFACE_DROPS = "interface-drops"
    REFUSED_SENDS = "refused-sends"
    LINK_DOWN = "link-down"
    STALL = "stall"
    CLOCK_STEP = "clock-step"
    FOREIGN_FRAMES = "foreign-frames"
    UNDECIDABLE = "undecidable"
    WORKER_LOST = "worker-lost"


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something that the tester itself did and that can touch a stream.

    Attributes:
        kind: what it was.
        frames: how many frames it concerns at most; ``None`` when that is not known, or where
            frames are no measure of it.
        longest_ns: how long it lasted, or by how much a clock was set; ``None`` as for frames.
        words: what happened, as a clause that can follow "but".
    """

    kind: DoubtKind
    frames: int | None
    longest_ns: int | None
    words: str


@dataclass(frozen=True, slots=True)
class Capture:
    """What was sent and what arrived, for one stream.

    Attributes:
        stream: the number of the stream, as in the plan and in every frame.
        rate_pps: intended load.
        destinations: destinations visited round robin; number n went to ``n % destinations``.
        transmission: what left when, on the clock of the arrivals.
        arrivals: what arrived, by number.
        tester_dropped: frames that the tester itself lost on the way to or from the wire, as far
            as they can touch this stream; ``None`` when the backend cannot count them.
        longest_stall_ns: longest time by which a frame left late; ``None`` when not known.
        doubts: what the tester did, one by one.
        totals: what another generator counted, where that is all that is known; then transmission
            and arrivals are empty and say nothing.
    """

    stream: int
    rate_pps: int
    destinations: int
    transmission: Transmission
    arrivals: Arrivals
    tester_dropped: int | None
    longest_stall_ns: int | None
    doubts: tuple[Doubt, ...] = ()
    totals: Totals | None = None
