"""A lab that cannot be built says why, and leaves neither lock nor process."""

from dataclasses import replace
from pathlib import Path

import pytest

from qualify.errors import LabError
from qualify.lab.enclosure import Enclosure
from qualify.lab.lab import Lab
from qualify.lab.programs import Programs, lab_programs
from qualify.measure.observation import PortCount
from tests.sample import TESTBED

pytestmark = pytest.mark.live

OWN = replace(TESTBED, name="failing")


@pytest.fixture(autouse=True)
def runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the locks of a test apart; the folder exists only while a lab is up."""
    folder = tmp_path / "labs"
    monkeypatch.setenv("QUALIFY_RUNTIME_DIR", str(folder))
    return folder


def put_script(folder: Path, name: str, text: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(f"#!/bin/sh\n{text}\n")
    (folder / name).chmod(0o755)


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("echo unshare failed: not permitted >&2; exit 1", "unshare failed: not permitted"),
        ("exit 1", "no answer"),
    ],
)
def test_an_enclosure_that_cannot_be_prepared_is_quoted(
    script: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_script(tmp_path / "bin", "unshare", script)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"), prepend=":")

    with pytest.raises(
        LabError, match=rf"^this machine does not let the lab have its own namespaces: {words}\n"
    ):
        Enclosure()


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("echo unshare failed: not permitted >&2; exit 1", "unshare failed: not permitted"),
        ("exit 1", "exit status 1"),
    ],
)
def test_a_machine_that_forbids_namespaces_is_quoted_before_anything_is_built(
    script: str, words: str, runtime: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_script(tmp_path / "bin", "unshare", script)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"), prepend=":")

    with pytest.raises(
        LabError,
        match=r"^the virtual lab cannot be built here; missing: namespaces of its own "
        rf"\({words}\)\n",
    ):
        Lab(OWN)

    assert not runtime.exists()


def test_a_step_that_fails_takes_the_lab_down_again(runtime: Path, tmp_path: Path) -> None:
    put_script(tmp_path / "private" / "bin", "nft", "echo no such hook >&2; exit 1")
    system = tuple(str(folder) for folder in lab_programs().search_folders())

    with pytest.raises(LabError, match=r"^a command in the lab ended with 1: no such hook\n"):
        Lab(OWN, programs=Programs(tmp_path / "private", system=system))

    assert not runtime.exists()


def test_missing_programs_are_all_named_before_anything_is_built(
    runtime: Path, tmp_path: Path
) -> None:
    with pytest.raises(
        LabError,
        match=r"^the virtual lab cannot be built here; missing: the program zebra \(package frr; "
        r"run: qualify lab fetch\); .*the program nft",
    ):
        Lab(OWN, programs=Programs(tmp_path, system=()))

    assert not runtime.exists()


def test_a_lab_can_be_closed_twice() -> None:
    with Lab(OWN) as lab:
        assert lab.frame_counts("d1")[5] == PortCount("e6", received=0, sent=0)
        lab.close()
