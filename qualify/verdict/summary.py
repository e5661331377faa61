"""From the verdicts on the parts of a trial to the one on the whole."""

from collections.abc import Sequence
from dataclasses import dataclass

from qualify.verdict.verdict import Outcome, Verdict

# A bench that was not fit makes every figure worthless, so an error hides a fail. A fail is
# proven by itself, so it hides what could not be measured. A pass needs all of it.
_WORST_FIRST = (Outcome.ERROR, Outcome.FAIL, Outcome.INCONCLUSIVE)


@dataclass(frozen=True, slots=True)
class Said:
    """A verdict, and what it is about: ``egp p5>p6``, ``d1``."""

    about: str
    verdict: Verdict

    def __str__(self) -> str:
        return f"{self.about}: {self.verdict.reason}"


def sum_up(said: Sequence[Said]) -> Verdict:
    """Sum up: error before fail before inconclusive before pass; the first of the worst is named.

    Args:
        said: every verdict of the trial, at least one, the most telling first.
    """
    for outcome in _WORST_FIRST:
        found = [each for each in said if each.verdict.outcome is outcome]
        if found:
            more = f"; {outcome} in {len(found)} of {len(said)} checks" if len(found) > 1 else ""
            return Verdict(outcome, f"{found[0]}{more}")
    return Verdict(Outcome.PASS, f"all {len(said)} checks passed")
