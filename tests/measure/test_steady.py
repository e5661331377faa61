"""What went wrong before the upgrade."""

from qualify.measure.steady import EarlyImpairment, loss_before
from tests.measure.captures import START_NS, even_capture, timed_capture

# 1 frame per ms: frames 0 to 49 left before this moment.
UNTIL_NS = START_NS + 50_000_000


def test_loss_after_the_upgrade_began_is_not_early() -> None:
    seen = loss_before(even_capture(sent=100, lost=range(50, 80)), until_ns=UNTIL_NS)
    assert seen == EarlyImpairment(sent=50, lost=0, duplicate=0, reordered=0)
    assert seen.clean


def test_loss_before_the_upgrade_is_early() -> None:
    seen = loss_before(even_capture(sent=100, lost=[3, 49, 50]), until_ns=UNTIL_NS)
    assert seen == EarlyImpairment(sent=50, lost=2, duplicate=0, reordered=0)
    assert not seen.clean


def test_repetition_and_disorder_before_the_upgrade_are_early() -> None:
    capture = timed_capture(sent_at=[0, 10, 20, 30, 40, 50], received=[1, 0, 2, 2, 3, 5, 4, 5])
    seen = loss_before(capture, until_ns=START_NS + 35)
    assert seen == EarlyImpairment(sent=4, lost=0, duplicate=1, reordered=1)
    assert not seen.clean


def test_without_an_upgrade_every_frame_is_early() -> None:
    seen = loss_before(even_capture(sent=100, lost=[99]), until_ns=None)
    assert seen == EarlyImpairment(sent=100, lost=1, duplicate=0, reordered=0)


def test_an_upgrade_before_the_first_frame_leaves_none_to_look_at() -> None:
    seen = loss_before(even_capture(sent=100, lost=[0]), until_ns=START_NS)
    assert seen == EarlyImpairment(sent=0, lost=0, duplicate=0, reordered=0)
