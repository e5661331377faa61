"""What happened to a session: from the log that BIRD writes to neighbor events.

BIRD names every change of state; which of them is a flap depends on whether it was helping the
device through a graceful restart at that moment, so the log is read as one story.
"""

import calendar
import re
from dataclasses import dataclass
from datetime import datetime

from qualify.measure.observation import NeighborChange, NeighborEvent
from qualify.units import NS_PER_S, NS_PER_US

_LINE = re.compile(r"^(\S+ \S+) <\w+> dut: (.*)$", re.MULTILINE)
_OSPF_STATE = re.compile(r"Neighbor \S+ on \S+ changed state from (\S+) to (\S+)$")

# What the log says, and what it means to the story below.
_OSPF_WORDS = (
    (re.compile(r"Neighbor \S+ on \S+ started graceful restart$"), "restarting"),
    (re.compile(r"Neighbor \S+ on \S+ finished graceful restart$"), "restarted"),
    (re.compile(r"Graceful restart (canceled|timer expired) for nbr"), "given up"),
)
_BGP_WORDS = (
    (re.compile(r"BGP session established$"), "established"),
    (re.compile(r"State changed to up$"), "up"),
    (re.compile(r"BGP session closed$"), "down"),
    (re.compile(r"Neighbor graceful restart detected"), "restarting"),
    (re.compile(r"Neighbor graceful restart done$"), "restarted"),
    (re.compile(r"Neighbor graceful restart timeout$"), "given up"),
)


@dataclass(frozen=True, slots=True)
class SessionLog:
    """The events of a session, and the names of its states, each with the time of its beginning."""

    events: tuple[NeighborEvent, ...]
    states: tuple[tuple[int, str], ...]

    def state_at(self, at_ns: int) -> str | None:
        """Return the protocol's own name of the state at that time; ``None`` before the first."""
        begun = [state for since_ns, state in self.states if since_ns <= at_ns]
        return begun[-1] if begun else None


def read_log(text: str, *, protocol: str) -> SessionLog:
    """Read the log of a session; a last line that is still being written is left out.

    Args:
        text: lines of ``log … all`` with ``timeformat log iso long us``, in UTC.
        protocol: ``ospf`` or ``bgp``.
    """
    story = _Story()
    read_line = _read_ospf if protocol == "ospf" else _read_bgp
    for line in _LINE.finditer(text[: text.rfind("\n") + 1]):
        read_line(story, line.group(2), line.group(1))
    return SessionLog(tuple(story.events), tuple(story.states))


class _Story:
    """Where the reader stands: is the session up, and is the peer helping through a restart?"""

    def __init__(self) -> None:
        self.events: list[NeighborEvent] = []
        self.states: list[tuple[int, str]] = []
        self.in_service = False
        self._helping = False
        self._missing = True

    def name_state(self, stamp: str, state: str) -> None:
        """Note what the protocol calls the state from now on."""
        self.states.append((_read_stamp(stamp), state))

    def leave(self, stamp: str, words: str) -> None:
        """The session is no longer in service: a flap, unless a restart is under way."""
        self.in_service = False
        if not self._helping:
            self._tell(NeighborChange.DOWN, stamp, words)

    def enter(self, stamp: str, words: str) -> None:
        """The session is in service; under a restart that is not over, nothing has happened yet."""
        self.in_service = True
        if not self._helping:
            self._tell(NeighborChange.UP, stamp, words)

    def help(self, stamp: str, words: str) -> None:
        """The peer begins to help; what it learned stays in use."""
        if not self._helping and not self._missing:
            self._helping = True
            self._tell(NeighborChange.RESTARTING, stamp, words)

    def release(self, stamp: str, words: str) -> None:
        """The help is over: well, if the session is back; else the routes are gone."""
        if self._helping:
            self._helping = False
            change = NeighborChange.RESTARTED if self.in_service else NeighborChange.DOWN
            self._tell(change, stamp, words)

    def give_up(self, stamp: str, words: str) -> None:
        """The peer stopped helping before the restart was over: what it learned is gone."""
        if self._helping:
            self._helping = False
            self._tell(NeighborChange.DOWN, stamp, words)
            if self.in_service:
                self._tell(NeighborChange.UP, stamp, words)

    def _tell(self, change: NeighborChange, stamp: str, words: str) -> None:
        missing = change is NeighborChange.DOWN
        if change in (NeighborChange.UP, NeighborChange.DOWN) and missing is self._missing:
            return
        self._missing = missing
        self.events.append(NeighborEvent(_read_stamp(stamp), change, words))


def _read_ospf(story: _Story, words: str, stamp: str) -> None:
    changed = _OSPF_STATE.match(words)
    if changed:
        before, after = changed.groups()
        # A state other than Full concerns this story only when it follows or leads to Full:
        # before it knows its own number the device may greet as a second, passing neighbor.
        if after == "Full":
            story.name_state(stamp, after)
            story.enter(stamp, words)
        elif before == "Full":
            story.name_state(stamp, after)
            story.leave(stamp, words)
        elif not story.in_service:
            story.name_state(stamp, after)
        return
    _follow(story, _meaning(words, _OSPF_WORDS), words, stamp)


def _read_bgp(story: _Story, words: str, stamp: str) -> None:
    meaning = _meaning(words, _BGP_WORDS)
    if meaning == "established":
        story.name_state(stamp, "Established")
    elif meaning == "up":
        story.enter(stamp, words)
    elif meaning == "down":
        story.name_state(stamp, "Idle")
        story.leave(stamp, words)
    else:
        _follow(story, meaning, words, stamp)


def _follow(story: _Story, meaning: str | None, words: str, stamp: str) -> None:
    if meaning == "restarting":
        story.help(stamp, words)
    elif meaning == "restarted":
        story.release(stamp, words)
    elif meaning == "given up":
        story.give_up(stamp, words)


def _meaning(words: str, table: tuple[tuple[re.Pattern[str], str], ...]) -> str | None:
    return next((meaning for pattern, meaning in table if pattern.match(words)), None)


def _read_stamp(stamp: str) -> int:
    """Turn ``2026-11-25 09:07:16.417099`` (UTC) into nanoseconds since the epoch, exactly."""
    moment = datetime.fromisoformat(f"{stamp}+00:00")
    return calendar.timegm(moment.utctimetuple()) * NS_PER_S + moment.microsecond * NS_PER_US
