"""The programs of the lab: the private folder comes first, and what is missing has a name."""

from pathlib import Path

import pytest

from qualify.errors import LabError
from qualify.lab.machine import missing_programs
from qualify.lab.programs import PACKAGES, Programs


def put_program(folder: Path, name: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / name
    file.write_text("#!/bin/sh\n")
    file.chmod(0o755)
    return file


def test_the_private_folder_comes_before_the_machine(tmp_path: Path) -> None:
    put_program(tmp_path / "system", "bird")
    private = put_program(tmp_path / "private" / "bin", "bird")

    programs = Programs(tmp_path / "private", system=(str(tmp_path / "system"),))

    assert programs.path("bird") == str(private)


def test_a_program_of_the_machine_is_good_enough(tmp_path: Path) -> None:
    system = put_program(tmp_path / "system", "zebra")

    programs = Programs(tmp_path / "private", system=(str(tmp_path / "system"),))

    assert programs.find("zebra") == system


def test_a_file_that_cannot_be_run_is_no_program(tmp_path: Path) -> None:
    put_program(tmp_path, "zebra").chmod(0o644)

    assert Programs(tmp_path / "private", system=(str(tmp_path),)).find("zebra") is None


def test_a_missing_program_is_named_with_its_package_and_the_fix(tmp_path: Path) -> None:
    with pytest.raises(
        LabError,
        match=r"^the program bgpd \(package frr\) is not there\n  fix: run: qualify lab fetch$",
    ):
        Programs(tmp_path, system=()).path("bgpd")


def test_what_the_lab_can_do_without_is_fetched_but_not_missed(tmp_path: Path) -> None:
    programs = Programs(tmp_path, system=())

    assert programs.missing() == tuple(PACKAGES)
    missing = missing_programs(programs)
    assert "the program nft (package nftables; run: qualify lab fetch)" in missing
    assert not [phrase for phrase in missing if "tcpdump" in phrase]
