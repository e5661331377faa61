"""The command line as a whole: its subcommands, and how it ends."""

import argparse

import pytest

from qualify import __version__
from qualify.cli import main as command
from qualify.cli.main import main
from qualify.errors import PlanError


def test_help_names_the_commands_and_the_exit_statuses(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--help"])
    text = capsys.readouterr().out
    assert "check a testbed, its software images and cases" in text
    assert "print the JSON Schema of a kind of file" in text
    assert "1  check found mistakes in the files" in text


def test_the_version_is_that_of_the_package(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--version"])
    assert capsys.readouterr().out == f"qualify {__version__}\n"


@pytest.mark.parametrize("arguments", [[], ["unknown"], ["check"], ["schema", "device"]])
def test_wrong_usage_ends_with_status_2(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(arguments)
    assert "usage: qualify" in capsys.readouterr().err


class Failing:
    """A subcommand that explains why it cannot do its work."""

    @staticmethod
    def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
        """Add a command that takes no arguments."""
        subparsers.add_parser("fail").set_defaults(run=Failing.run)

    @staticmethod
    def run(args: argparse.Namespace) -> int:
        """Give up with an explanation."""
        raise PlanError(f"{args.run.__name__} cannot be done", fix="do less", where="a.yaml:1:1")


def test_an_error_that_explains_itself_is_shown_without_a_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "SUBCOMMANDS", (Failing,))
    assert main(["fail"]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err == "a.yaml:1:1: run cannot be done\n  fix: do less\n"
