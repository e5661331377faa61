"""Where in a record something stands, so that every complaint can name it."""

from dataclasses import dataclass

from qualify.errors import RecordError


@dataclass(frozen=True, slots=True)
class Place:
    """A file and the way to a value inside it, e.g. ``trials[0].streams[3].lost``."""

    file: str
    path: str = ""

    def key(self, name: str) -> "Place":
        """Return the place of a key inside this object."""
        return Place(self.file, f"{self.path}.{name}".lstrip("."))

    def item(self, index: int) -> "Place":
        """Return the place of an item of this list."""
        return Place(self.file, f"{self.path}[{index}]")

    def complain(self, problem: str) -> RecordError:
        """Make the error that says what is wrong here."""
        return RecordError(
            problem,
            fix="restore the file from a copy; a record is never edited by hand",
            where=f"{self.file} {self.path}".rstrip(),
        )
