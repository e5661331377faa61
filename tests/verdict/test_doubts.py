"""What the tester itself did, and the verdicts that it can and cannot change."""

from dataclasses import replace

import pytest

from qualify.measure.capture import Doubt, DoubtKind
from qualify.measure.figures import StreamFigures
from qualify.measure.stream import measure_stream
from qualify.verdict.judge import describe_outage, judge_outage
from qualify.verdict.verdict import Outcome, Verdict
from tests.measure.captures import even_capture, timed_capture

BUDGET_NS = 50_000_000
RING = Doubt(DoubtKind.RING_DROPS, 3, None, "the ring of p2 was full and dropped 3 frames")
BACKLOG = Doubt(DoubtKind.BACKLOG_DROPS, 2, None, "the machine dropped 2 frames")
UNREAD = Doubt(DoubtKind.BACKLOG_DROPS, None, None, "nobody knows what the machine dropped")
LATE = Doubt(DoubtKind.UNDECIDABLE, 4, None, "4 frames came too late to be placed")
PORT_DOWN = Doubt(DoubtKind.LINK_DOWN, None, None, "tester port p1 itself was down")
LOST_WORKER = Doubt(DoubtKind.WORKER_LOST, None, None, "a worker of the tester ended early")
STALL = Doubt(DoubtKind.STALL, None, 2_000_000, "the sender stalled for 2.0 ms")
FOREIGN = Doubt(DoubtKind.FOREIGN_FRAMES, 900, None, "900 frames of another run arrived")


def clock_step(by_ns: int | None) -> Doubt:
    return Doubt(DoubtKind.CLOCK_STEP, None, by_ns, "the clock was set")


def figures_of(lost: int, *doubts: Doubt, dropped: int | None = 0) -> StreamFigures:
    """One loss period of a stream of one frame every 5 ms."""
    capture = even_capture(
        sent=12_000, rate_pps=200, lost=range(6_000, 6_000 + lost), tester_dropped=dropped
    )
    undecidable = sum(d.frames or 0 for d in doubts if d.kind is DoubtKind.UNDECIDABLE)
    figures = measure_stream(replace(capture, doubts=doubts))
    return replace(figures, undecidable=undecidable)


def judge(lost: int, *doubts: Doubt, dropped: int | None = 0) -> Verdict:
    return judge_outage(figures_of(lost, *doubts, dropped=dropped), budget_ns=BUDGET_NS)


FIVE = "lost 5 of 12 000 frames: outage 25.0 ms (20.0 to 30.0 ms), budget 50.0 ms"
MANY = "lost 34 of 12 000 frames: outage 170.0 ms (165.0 to 175.0 ms), budget 50.0 ms"


@pytest.mark.parametrize(
    ("doubts", "dropped", "words"),
    [
        ((RING,), 3, "but the ring of p2 was full and dropped 3 frames"),
        (
            (RING, BACKLOG),
            5,
            "but the ring of p2 was full and dropped 3 frames and the machine dropped 2 frames",
        ),
        ((LATE,), 0, "but 4 frames came too late to be placed"),
        ((PORT_DOWN,), 0, "but tester port p1 itself was down"),
        ((LOST_WORKER,), 0, "but a worker of the tester ended early"),
        ((UNREAD,), None, "but nobody knows what the machine dropped"),
        ((UNREAD,), 0, "but nobody knows what the machine dropped"),
        ((clock_step(None),), 0, "but the clock was set"),
        ((clock_step(20_000_001),), 0, "but the clock was set"),
    ],
)
def test_what_the_tester_did_makes_a_pass_inconclusive_with_its_own_words(
    doubts: tuple[Doubt, ...], dropped: int | None, words: str
) -> None:
    verdict = judge(5, *doubts, dropped=dropped)
    assert verdict == Verdict(Outcome.INCONCLUSIVE, f"{FIVE}, {words}")


@pytest.mark.parametrize("doubt", [STALL, FOREIGN, clock_step(20_000_000)])
def test_what_cannot_change_a_pass_leaves_it(doubt: Doubt) -> None:
    assert judge(5, doubt) == Verdict(Outcome.PASS, FIVE)


@pytest.mark.parametrize("doubt", [RING, LATE, PORT_DOWN, UNREAD, STALL, FOREIGN])
def test_without_loss_nothing_that_loses_frames_was_there(doubt: Doubt) -> None:
    assert judge(0, doubt).outcome is Outcome.PASS


@pytest.mark.parametrize("doubt", [LOST_WORKER, clock_step(None), clock_step(45_000_001)])
def test_some_doubts_speak_even_without_loss(doubt: Doubt) -> None:
    assert judge(0, doubt).outcome is Outcome.INCONCLUSIVE


@pytest.mark.parametrize("doubt", [LOST_WORKER, PORT_DOWN, UNREAD, clock_step(None)])
def test_a_fail_does_not_stand_against_what_nobody_can_count(doubt: Doubt) -> None:
    assert judge(34, doubt) == Verdict(Outcome.INCONCLUSIVE, f"{MANY}, but {doubt.words}")


@pytest.mark.parametrize(
    ("doubts", "words"),
    [
        ((RING,), "even without the 3 frames that the tester dropped"),
        ((LATE,), "even without the 4 late frames that nobody can place"),
        ((clock_step(115_000_000),), "even with the clock off by 115.0 ms"),
        (
            (RING, LATE, clock_step(1_000_000)),
            "even without the 3 frames that the tester dropped "
            "and without the 4 late frames that nobody can place "
            "and with the clock off by 1.0 ms",
        ),
    ],
)
def test_a_fail_that_stands_without_all_of_it_stays_one(
    doubts: tuple[Doubt, ...], words: str
) -> None:
    assert judge(34, *doubts) == Verdict(Outcome.FAIL, f"{MANY}, {words}")


def test_a_fail_that_the_clock_may_have_made_is_inconclusive() -> None:
    # 165.0 ms less 115.000001 ms is below the budget of 50 ms.
    assert judge(34, clock_step(115_000_001)).outcome is Outcome.INCONCLUSIVE


def test_late_frames_and_drops_add_up_against_a_fail() -> None:
    # 12 frames can take 2 x 12 x 5 ms = 120 ms off: 45 ms are left.
    late = replace(LATE, frames=9)
    assert judge(34, RING, late).outcome is Outcome.INCONCLUSIVE
    assert judge(34, RING, replace(late, frames=8)).outcome is Outcome.FAIL


def test_lost_by_rate_speaks_while_the_transmit_times_agree() -> None:
    assert describe_outage(figures_of(5)) == (
        "lost 5 of 12 000 frames: outage 25.0 ms (20.0 to 30.0 ms)"
    )


def test_the_transmit_times_speak_when_the_sender_stalled_and_caught_up() -> None:
    # A frame every 50 µs, a stall of 3 ms, then a burst within 0.06 ms, of which the device lost 60
    # frames: away for 0.059 to 0.061 ms, but lost ÷ rate reads 3.0 ms.
    burst = [3_100_000 + 1_000 * number for number in range(62)]
    sent_at = [0, 50_000, 100_000, *burst, 3_200_000, 3_250_000]
    figures = measure_stream(
        timed_capture(sent_at=sent_at, received=[0, 1, 2, 3, 64, 65, 66], rate_pps=20_000)
    )
    assert figures.lost == 60
    assert describe_outage(figures) == (
        "lost 60 of 67 frames: outage 3.0 ms (0.0 to 3.1 ms); "
        "the sender left its pace by up to 3.0 ms, so its transmit times speak: 0.0 to 0.1 ms"
    )


def test_the_transmit_times_speak_when_the_sender_was_slow() -> None:
    # 1 frame per ms intended, 1 per 3 ms sent.
    figures = measure_stream(
        timed_capture(sent_at=[0, 3_000_000, 6_000_000, 9_000_000, 12_000_000], received=[0, 3, 4])
    )
    words = "the sender left its pace by up to 2.0 ms, so its transmit times speak: 3.0 to 9.0 ms"
    assert describe_outage(figures).endswith(words)
    unwatched = replace(figures, longest_stall_ns=None)
    assert describe_outage(unwatched).endswith(
        "the sender left its pace, so its transmit times speak: 3.0 to 9.0 ms"
    )
