# ruff: noqa: ARG002
"""The virtual lab: one namespace for each device and tester port, cables between them."""

from pathlib import Path
from subprocess import Popen


class Namespace:
    """One network namespace of the lab."""

    name: str
    file: Path

    def run(self, *command: str, stdin: str = "", timeout_s: float = 20) -> str:
        """Run a command in the namespace and return what it printed.

        Raises:
            LabError: it failed; the error shows the command so that it can be pasted.
        """
        raise AssertionError


class Lab:
    """All namespaces of a testbed."""

    def namespace(self, name: str) -> Namespace:
        """Return the namespace of a device or of a tester port, by its name in the testbed."""
        raise AssertionError

    def spawn(self, *command: str) -> "Popen[bytes]":
        """Start a process inside the lab, with pipes; it dies with the lab."""
        raise AssertionError
