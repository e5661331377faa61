"""A verdict: pass, fail, inconclusive or error, always with its reason."""

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """How a check ends. INCONCLUSIVE: the tester cannot say; ERROR: the bench was not fit."""

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    ERROR = "error"


@dataclass(frozen=True, slots=True)
class Verdict:
    """An outcome, and the reason in one sentence that a release manager can read."""

    outcome: Outcome
    reason: str

    def unless(self, doubt: str) -> "Verdict":
        """Return the verdict itself, but a pass as inconclusive where there is a doubt.

        Args:
            doubt: what speaks against a pass, to go on the sentence; empty for nothing.
        """
        if self.outcome is Outcome.PASS and doubt:
            return Verdict(Outcome.INCONCLUSIVE, f"{self.reason}, {doubt}")
        return self
