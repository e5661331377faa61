"""From the history of a session to its flaps and its graceful restarts."""

from dataclasses import dataclass
from enum import Enum, auto

from qualify.measure.observation import NeighborChange, NeighborEvent, NeighborHistory


@dataclass(frozen=True, slots=True)
class NeighborCount:
    """How often a session was lost, and how often it restarted gracefully instead."""

    flaps: int
    graceful_restarts: int


class _State(Enum):
    UP = auto()
    DOWN = auto()
    RESTARTING = auto()


def count_neighbor_changes(history: NeighborHistory) -> NeighborCount:
    """Count how often the session left the state "in service", from the peer's side.

    - Down outside of a graceful restart is a flap; a session that was down already, or that
      repeats that it is up, changes nothing.
    - A graceful restart is one from its beginning to its end, whatever the session does between.
      One that never ends was none: it is a flap.
    - A session that ends out of service without having said so has flapped as well.

    Source:
        RFC 3623 §3 and RFC 4724 §4.2: the helper keeps the routes during a graceful restart;
        RFC 4273 bgpPeerFsmEstablishedTransitions, RFC 4750 ospfNbrState for "in service".
    """
    began_down = history.before not in (None, history.up_state)
    state = _State.DOWN if began_down else _State.UP
    flaps = graceful_restarts = 0
    for event in sorted(history.events, key=_at_ns):
        following = _follow(state, event.change)
        flaps += state is _State.UP and following is _State.DOWN
        graceful_restarts += state is _State.RESTARTING and following is _State.UP
        state = following
    ended_down = history.after not in (None, history.up_state)
    flaps += state is _State.RESTARTING or (state is _State.UP and ended_down)
    return NeighborCount(flaps, graceful_restarts)


def _at_ns(event: NeighborEvent) -> int:
    return event.at_ns


def _follow(state: _State, change: NeighborChange) -> _State:
    if change is NeighborChange.RESTARTED:
        return _State.UP
    if change is NeighborChange.RESTARTING or state is _State.RESTARTING:
        return _State.RESTARTING
    return _State.UP if change is NeighborChange.UP else _State.DOWN
