"""Drops of the tester as doubts, each with its place in words."""

from qualify.measure.capture import Doubt, DoubtKind
from qualify.traffic.drop_doubts import Drop, doubt_drops


def test_every_place_that_dropped_is_named_with_its_count() -> None:
    drops = {Drop.REFUSED: 1, Drop.SENDING: 0, Drop.BUFFER: 29_713, Drop.BACKLOG: None}
    assert doubt_drops(drops) == (
        Doubt(DoubtKind.REFUSED_SENDS, 1, None, "the tester's own port refused 1 frame"),
        Doubt(
            DoubtKind.RING_DROPS,
            29_713,
            None,
            "the receive buffer of the tester was full and dropped 29 713 frames",
        ),
        Doubt(
            DoubtKind.BACKLOG_DROPS,
            None,
            None,
            "nobody knows how many frames the machine of the tester dropped before its sockets",
        ),
    )


def test_a_tester_that_dropped_nothing_leaves_no_doubt() -> None:
    assert doubt_drops(dict.fromkeys(Drop, 0)) == ()
