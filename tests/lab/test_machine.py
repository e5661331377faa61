"""What a machine lacks for the lab is told in words, without trying."""

import os
from pathlib import Path

import pytest

from qualify.lab.machine import missing_capabilities, missing_for_lab
from qualify.lab.programs import Programs


def test_root_with_all_capabilities_lacks_none() -> None:
    assert missing_capabilities(0x1FFFFFFFFFF) == ()


def test_root_of_an_ordinary_container_lacks_two() -> None:
    """0xa80425fb is what a container is given where nothing else is asked for."""
    assert missing_capabilities(0xA80425FB) == (
        "the capability net_admin (use a machine, or a container that grants it)",
        "the capability sys_admin (use a machine, or a container that grants it)",
    )


def test_an_ordinary_user_is_told_to_be_root(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)

    assert missing_for_lab(Programs(tmp_path))[0] == "the rights of root (run it as root)"


def test_a_machine_without_programs_names_them(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))

    missing = missing_for_lab(Programs(tmp_path, system=()))

    assert "the program zebra (package frr; run: qualify lab fetch)" in missing
    assert "the program unshare (package util-linux or mount)" in missing
