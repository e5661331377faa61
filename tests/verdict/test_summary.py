"""Which verdict speaks for a whole trial."""

import pytest

from qualify.verdict.summary import Said, sum_up
from qualify.verdict.verdict import Outcome, Verdict

PASS = Said("d1", Verdict(Outcome.PASS, "runs 5.2.0 after 31.0 s"))
UNKNOWN = Said("igp p3>p4", Verdict(Outcome.INCONCLUSIVE, "which lies between the bounds"))
FAIL = Said("egp p5>p6", Verdict(Outcome.FAIL, "lost 34 of 12 000 frames"))
ERROR = Said("steady state", Verdict(Outcome.ERROR, "a bench fault"))


@pytest.mark.parametrize(
    ("said", "outcome", "reason"),
    [
        ([PASS, PASS], Outcome.PASS, "all 2 checks passed"),
        ([PASS, UNKNOWN], Outcome.INCONCLUSIVE, "igp p3>p4: which lies between the bounds"),
        ([UNKNOWN, FAIL, PASS], Outcome.FAIL, "egp p5>p6: lost 34 of 12 000 frames"),
        ([FAIL, UNKNOWN, ERROR, PASS], Outcome.ERROR, "steady state: a bench fault"),
    ],
)
def test_error_hides_fail_hides_inconclusive_hides_pass(
    said: list[Said], outcome: Outcome, reason: str
) -> None:
    assert sum_up(said) == Verdict(outcome, reason)


def test_the_first_of_several_is_named_and_the_others_are_counted() -> None:
    other = Said("d2", Verdict(Outcome.FAIL, "never came back with 5.2.0"))
    assert sum_up([PASS, FAIL, other, UNKNOWN]) == Verdict(
        Outcome.FAIL, "egp p5>p6: lost 34 of 12 000 frames; fail in 2 of 4 checks"
    )
