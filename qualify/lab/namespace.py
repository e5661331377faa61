"""One network namespace of the lab, by the name of its device or tester port."""

from pathlib import Path

from qualify.lab.enclosure import Enclosure


class Namespace:
    """One network namespace; ``file`` is its handle as seen from outside the lab."""

    def __init__(self, name: str, enclosure: Enclosure, *, ip: str) -> None:
        self.name = name
        self.file = enclosure.root / "run" / "netns" / name
        self._enclosure = enclosure
        self._ip = ip

    @property
    def root(self) -> Path:
        """The file system of the lab, seen from outside."""
        return self._enclosure.root

    def run(self, *command: str, stdin: str = "", timeout_s: float = 20) -> str:
        """Run a command in the namespace and return what it printed.

        Raises:
            LabError: it failed; the error shows the command so that it can be pasted.
        """
        return self._enclosure.run(
            self._ip, "netns", "exec", self.name, *command, stdin=stdin, timeout_s=timeout_s
        )
