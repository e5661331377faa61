"""From counters of the tester's own drops to what they make doubtful."""

from collections.abc import Mapping
from enum import Enum

from qualify.measure.capture import Doubt, DoubtKind
from qualify.units import format_count


class Drop(Enum):
    """Where a frame can get lost inside the tester: the kind of doubt, and the place in words."""

    REFUSED = (DoubtKind.REFUSED_SENDS, "the tester's own port refused")
    SENDING = (DoubtKind.INTERFACE_DROPS, "the sending interface of the tester dropped")
    BUFFER = (DoubtKind.RING_DROPS, "the receive buffer of the tester was full and dropped")
    RECEIVING = (DoubtKind.INTERFACE_DROPS, "the receiving interface of the tester dropped")
    BACKLOG = (DoubtKind.BACKLOG_DROPS, "the machine of the tester dropped before its sockets")


def doubt_drops(drops: Mapping[Drop, int | None]) -> tuple[Doubt, ...]:
    """Return a doubt for every place that dropped a frame, or that cannot say.

    Args:
        drops: frames lost at each place; ``None`` where nobody counted them.
    """
    doubts = []
    for drop, frames in drops.items():
        kind, words = drop.value
        if frames is None:
            doubts.append(Doubt(kind, None, None, f"nobody knows how many frames {words}"))
        elif frames:
            noun = "frame" if frames == 1 else "frames"
            words = f"{words} {format_count(frames)} {noun}"
            doubts.append(Doubt(kind, frames, None, words))
    return tuple(doubts)
