"""A doubt takes a pass away, and nothing else."""

import pytest

from qualify.verdict.verdict import Outcome, Verdict


def test_a_doubt_makes_a_pass_inconclusive() -> None:
    assert Verdict(Outcome.PASS, "no loss").unless("but nobody looked") == Verdict(
        Outcome.INCONCLUSIVE, "no loss, but nobody looked"
    )


def test_without_a_doubt_a_pass_stays_one() -> None:
    assert Verdict(Outcome.PASS, "no loss").unless("") == Verdict(Outcome.PASS, "no loss")


@pytest.mark.parametrize("outcome", [Outcome.FAIL, Outcome.INCONCLUSIVE, Outcome.ERROR])
def test_a_doubt_changes_no_other_verdict(outcome: Outcome) -> None:
    verdict = Verdict(outcome, "lost 34 of 12 000 frames")
    assert verdict.unless("but nobody looked") is verdict
