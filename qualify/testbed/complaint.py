"""Complaints about files that people wrote: each with its place, what is wrong, and the fix."""

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from qualify.errors import FileError

MOST_CHOICES = 20


@dataclass(frozen=True, slots=True)
class Complaint:
    """One mistake in one file.

    ``line`` and ``column`` count from 1 and are ``None`` when the whole file is meant; then
    ``key_path`` is empty.
    """

    file: Path
    line: int | None
    column: int | None
    key_path: str
    problem: str
    fix: str

    @property
    def where(self) -> str:
        """The place as editors and terminals understand it: ``a.yaml:6:15 paths.l2.ports``."""
        if self.line is None:
            return str(self.file)
        place = f"{self.file}:{self.line}:{self.column}"
        return f"{place} {self.key_path}" if self.key_path else place

    def __str__(self) -> str:
        return f"{self.where}: {self.problem}\n  fix: {self.fix}"


class ComplaintsError(FileError):
    """Everything that is wrong with one or several files, at once.

    Args:
        complaints: at least one. Those of one file are put into line order; files keep the order
            in which they were first complained about.
    """

    def __init__(self, complaints: Sequence[Complaint]) -> None:
        self.complaints = _in_line_order(complaints)
        first = self.complaints[0]
        super().__init__(first.problem, fix=first.fix, where=first.where)

    def __str__(self) -> str:
        return "\n".join(str(complaint) for complaint in self.complaints)


def nearest(word: str, choices: Sequence[str]) -> str:
    """Say in a fix which of the choices was probably meant, or what there is to choose from."""
    if not choices:
        return "there is none to choose from"
    close = get_close_matches(word, choices, n=1)
    if close:
        return f"did you mean {close[0]}?"
    if len(choices) == 1:
        return f"only {choices[0]} is known here"
    more = "" if len(choices) <= MOST_CHOICES else " and others"
    return f"choose one of {', '.join(choices[:MOST_CHOICES])}{more}"


def _in_line_order(complaints: Sequence[Complaint]) -> tuple[Complaint, ...]:
    files = {complaint.file: None for complaint in complaints}
    rank = {file: number for number, file in enumerate(files)}
    return tuple(sorted(complaints, key=lambda c: (rank[c.file], c.line or 0, c.column or 0)))
