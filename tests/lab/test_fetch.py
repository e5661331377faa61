"""Fetching the programs, with a package client that is a script in the test's own folder."""

import os
import subprocess
from pathlib import Path

import pytest
from tenacity import wait_none

from qualify.errors import LabError
from qualify.lab import fetch
from qualify.lab.fetch import fetch_programs
from qualify.lab.programs import PACKAGES, Programs

# Stands where apt-get stands: "downloads" by copying what the test prepared.
CLIENT = """#!/bin/sh
echo "$1 $*" >> {log}
for word in "$@"; do case "$word" in Dir::Cache::archives=*) archives="${{word#*=}}";; esac; done
test "$1" = install || exit 0
test $(grep -c "^install" {log}) -gt {failures} || {{ echo "no route to host" >&2; exit 100; }}
cp {packages}/*.deb "$archives"
"""


def make_package(folder: Path, names: list[str]) -> None:
    """Build a Debian package that holds these programs and a library."""
    tree = folder / "tree"
    (tree / "DEBIAN").mkdir(parents=True)
    (tree / "DEBIAN" / "control").write_text(
        "Package: all-programs\nVersion: 1\nArchitecture: all\n"
        "Maintainer: nobody <nobody@example.net>\nDescription: for a test\n"
    )
    (tree / "usr" / "sbin").mkdir(parents=True)
    for name in names:
        program = tree / "usr" / "sbin" / name
        program.write_text(f'#!/bin/sh\necho "{name} with $LD_LIBRARY_PATH"\n')
        program.chmod(0o755)
    library = tree / "usr" / "lib" / "some-triplet" / "libsome.so.1"
    library.parent.mkdir(parents=True)
    library.write_bytes(b"")
    subprocess.run(
        ["dpkg-deb", "--build", "--root-owner-group", str(tree), str(folder / "all.deb")],
        check=True,
        capture_output=True,
    )


@pytest.fixture
def client(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Put a package client in front of the machine's own; return the folder of its packages."""
    monkeypatch.setattr(fetch, "WAIT", wait_none())
    monkeypatch.setenv("PATH", f"{tmp_path / 'client'}:{os.environ['PATH']}")
    (tmp_path / "packages").mkdir()
    return tmp_path / "packages"


def install_client(packages: Path, *, failures: int) -> Path:
    """Write the client, which fails so many times before it delivers; return its log."""
    log = packages.parent / "client.log"
    file = packages.parent / "client" / "apt-get"
    file.parent.mkdir()
    file.write_text(CLIENT.format(log=log, packages=packages, failures=failures))
    file.chmod(0o755)
    return log


def test_programs_are_unpacked_and_started_with_their_own_libraries(
    client: Path, tmp_path: Path
) -> None:
    make_package(client, list(PACKAGES))
    install_client(client, failures=0)
    programs = Programs(tmp_path / ".lab" / "programs", system=())

    fetched = fetch_programs(programs)

    assert fetched.packages == ("all",)
    said = subprocess.run([programs.path("bird")], check=True, capture_output=True, text=True)
    assert said.stdout == f"bird with {programs.folder}/root/usr/lib/some-triplet\n"
    assert sorted(each.name for each in programs.folder.parent.iterdir()) == [
        "fetch.lock",
        "programs",
    ]


def test_a_second_fetch_does_nothing(client: Path, tmp_path: Path) -> None:
    make_package(client, list(PACKAGES))
    log = install_client(client, failures=0)
    programs = Programs(tmp_path / ".lab" / "programs", system=())
    fetch_programs(programs)
    log.unlink()

    assert fetch_programs(programs).packages == ()
    assert not log.exists()


def test_a_failed_download_is_tried_again_with_fresh_lists(client: Path, tmp_path: Path) -> None:
    make_package(client, list(PACKAGES))
    log = install_client(client, failures=2)
    programs = Programs(tmp_path / ".lab" / "programs", system=())

    fetch_programs(programs)

    calls = [line.split()[0] for line in log.read_text().splitlines()]
    assert calls[-4:] == ["update", "install", "update", "install"]
    assert calls.count("install") == 3


def test_a_download_that_keeps_failing_leaves_nothing_half_done(
    client: Path, tmp_path: Path
) -> None:
    install_client(client, failures=99)
    programs = Programs(tmp_path / ".lab" / "programs", system=())

    with pytest.raises(
        LabError, match=r"failed: no route to host\n  fix: look after the network and the package"
    ):
        fetch_programs(programs)

    assert [each.name for each in programs.folder.parent.iterdir()] == ["fetch.lock"]


def test_packages_without_a_program_are_refused(client: Path, tmp_path: Path) -> None:
    make_package(client, [name for name in PACKAGES if name != "bgpd"])
    install_client(client, failures=0)

    with pytest.raises(
        LabError, match=r"^the packages of this machine's release do not hold bgpd\n.*install frr"
    ):
        fetch_programs(Programs(tmp_path / ".lab" / "programs", system=()))

    assert not (tmp_path / ".lab" / "programs").exists()


def test_a_machine_without_the_package_client_is_told_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))

    with pytest.raises(LabError, match=r"^this machine has no apt-get.*\n.*bird2, frr, iproute2"):
        fetch_programs(Programs(tmp_path / ".lab" / "programs", system=()))
