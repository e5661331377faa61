"""Flaps and graceful restarts, counted from what a peer saw."""

import pytest

from qualify.measure.neighbors import NeighborCount, count_neighbor_changes
from qualify.measure.observation import NeighborChange, NeighborEvent, NeighborHistory


def history(
    changes: str, *, before: str | None = "Full", after: str | None = "Full"
) -> NeighborHistory:
    """A history of one event a second, written as words."""
    return NeighborHistory(
        path="igp",
        observer="p3",
        protocol="ospf",
        up_state="Full",
        hold_ns=4_000_000_000,
        before=before,
        after=after,
        events=tuple(
            NeighborEvent(second * 1_000_000_000, NeighborChange(change), change)
            for second, change in enumerate(changes.split())
        ),
    )


@pytest.mark.parametrize(
    ("changes", "flaps", "graceful_restarts"),
    [
        pytest.param("", 0, 0, id="nothing happened"),
        pytest.param("down up", 1, 0, id="one flap"),
        pytest.param("down up down up", 2, 0, id="two flaps"),
        pytest.param("down down up", 1, 0, id="down said twice"),
        pytest.param("up up", 0, 0, id="up said again"),
        pytest.param("restarting restarted", 0, 1, id="graceful restart"),
        pytest.param("restarting down up restarted", 0, 1, id="down inside a graceful restart"),
        pytest.param("restarting restarting restarted", 0, 1, id="restarting said twice"),
        pytest.param("restarting restarted down up", 1, 1, id="flap after a graceful restart"),
        pytest.param("restarting restarted restarting restarted", 0, 2, id="two graceful restarts"),
        pytest.param("restarting", 1, 0, id="restart without an end"),
        pytest.param("restarting down up", 1, 0, id="restart without an end, though it came back"),
        pytest.param("restarted", 0, 0, id="restart from before the trial"),
    ],
)
def test_changes_of_a_session_that_was_up(changes: str, flaps: int, graceful_restarts: int) -> None:
    assert count_neighbor_changes(history(changes)) == NeighborCount(flaps, graceful_restarts)


@pytest.mark.parametrize(("changes", "flaps"), [("up", 0), ("down up", 0), ("up down up", 1)])
def test_a_session_that_was_down_does_not_flap_by_coming_up(changes: str, flaps: int) -> None:
    assert count_neighbor_changes(history(changes, before="Init")) == NeighborCount(flaps, 0)


def test_a_session_that_ends_down_without_a_word_has_flapped() -> None:
    assert count_neighbor_changes(history("", after="Init")) == NeighborCount(1, 0)


def test_a_session_that_went_down_and_stayed_so_has_flapped_once() -> None:
    assert count_neighbor_changes(history("down", after="Down")) == NeighborCount(1, 0)


def test_a_session_that_was_and_is_down_has_not_flapped() -> None:
    seen = count_neighbor_changes(history("", before="Init", after="Init"))
    assert seen == NeighborCount(0, 0)


def test_unknown_states_add_no_flap_and_hide_none() -> None:
    assert count_neighbor_changes(history("", before=None, after=None)) == NeighborCount(0, 0)
    assert count_neighbor_changes(history("down", before=None, after=None)) == NeighborCount(1, 0)


def test_events_count_in_the_order_of_their_times() -> None:
    down, up = history("down up").events
    shuffled = NeighborHistory("igp", "p3", "ospf", "Full", None, "Full", "Full", (up, down))
    assert count_neighbor_changes(shuffled) == NeighborCount(1, 0)
