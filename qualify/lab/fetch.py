"""Fetch the programs of the lab: downloaded as packages and unpacked, never installed.

Nothing of the machine changes: no package is configured, no service is enabled or started, no
user is created, and everything lies in one private folder that can be deleted.
"""

import fcntl
import shlex
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tenacity import Retrying, retry_if_exception_type, stop_after_attempt, wait_exponential

from qualify.errors import LabError
from qualify.lab.programs import PACKAGES, Programs

DOWNLOAD_TIMEOUT_S = 300
ATTEMPTS = 4
WAIT = wait_exponential(max=20)
"""How long to wait between attempts, in seconds."""

_MACHINE_LISTS = Path("/var/lib/apt/lists")
_STARTER = """\
#!/bin/sh
root=$(dirname "$(dirname "$(readlink -f "$0")")")/root
export LD_LIBRARY_PATH="{libraries}"
exec "$root/{program}" "$@"
"""


@dataclass(frozen=True, slots=True)
class Fetched:
    """What a fetch did: the packages that it unpacked (none: all was there), and where."""

    packages: tuple[str, ...]
    folder: Path


def fetch_programs(programs: Programs) -> Fetched:
    """Make every program of the lab available, quickly when all of them are.

    Raises:
        LabError: a download failed, or a program is in none of the packages; what was there
            before is still there, and nothing half done beside it.
    """
    programs.folder.parent.mkdir(parents=True, exist_ok=True)
    with _one_at_a_time(programs.folder.parent / "fetch.lock"):
        if not programs.missing():
            return Fetched((), programs.folder)
        with tempfile.TemporaryDirectory(prefix="fetch-", dir=programs.folder.parent) as name:
            fresh = Path(name) / "programs"
            packages = _download(Path(name))
            _unpack(packages, fresh)
            _check(Programs(fresh, programs.system))
            if programs.folder.exists():
                programs.folder.rename(Path(name) / "old")
            fresh.rename(programs.folder)
    return Fetched(tuple(package.stem for package in packages), programs.folder)


@contextmanager
def _one_at_a_time(lock: Path) -> Iterator[None]:
    with lock.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _download(folder: Path) -> tuple[Path, ...]:
    """Download the packages that the machine does not have; they land in ``archives``."""
    if shutil.which("apt-get") is None:
        raise LabError(
            "this machine has no apt-get, so the programs of the lab cannot be fetched",
            fix=f"install {', '.join(sorted(set(PACKAGES.values())))} with its own package client",
        )
    archives = folder / "archives"
    (archives / "partial").mkdir(parents=True)
    attempts = Retrying(
        stop=stop_after_attempt(ATTEMPTS),
        wait=WAIT,
        retry=retry_if_exception_type(LabError),
        reraise=True,
    )
    for attempt in attempts:
        with attempt:
            # The machine's lists may be absent or too old: every later attempt reads fresh ones.
            fresh = attempt.retry_state.attempt_number > 1 or not _machine_has_lists()
            _apt(folder, fresh_lists=fresh)
    return tuple(sorted(archives.glob("*.deb")))


def _machine_has_lists() -> bool:
    return any(_MACHINE_LISTS.glob("*_Packages*"))


def _apt(folder: Path, *, fresh_lists: bool) -> None:
    options = ["-o", f"Dir::Cache={folder}", "-o", f"Dir::Cache::archives={folder}/archives"]
    options += ["-o", "Debug::NoLocking=1", "-o", "APT::Sandbox::User="]
    if fresh_lists:
        (folder / "lists" / "partial").mkdir(parents=True, exist_ok=True)
        options += ["-o", f"Dir::State::lists={folder}/lists"]
        _run("apt-get", "update", *options)
    wanted = sorted(set(PACKAGES.values()))
    _run(
        "apt-get", "install", "-y", "--download-only", "--no-install-recommends", *options, *wanted
    )


def _unpack(packages: tuple[Path, ...], fresh: Path) -> None:
    root = fresh / "root"
    root.mkdir(parents=True)
    for package in packages:
        _run("dpkg-deb", "-x", str(package), str(root))
    libraries = sorted({str(file.parent.relative_to(root)) for file in root.rglob("lib*.so*")})
    path = ":".join(f"$root/{folder}" for folder in libraries)
    (fresh / "bin").mkdir()
    for name in PACKAGES:
        for program in root.glob(f"**/{name}"):
            if program.is_file() and program.stat().st_mode & 0o100:
                starter = fresh / "bin" / name
                starter.write_text(
                    _STARTER.format(libraries=path, program=program.relative_to(root))
                )
                starter.chmod(0o755)


def _check(fresh: Programs) -> None:
    missing = fresh.missing()
    if missing:
        raise LabError(
            f"the packages of this machine's release do not hold {', '.join(missing)}",
            fix="install "
            + ", ".join(sorted({PACKAGES[name] for name in missing}))
            + " with the machine's own package client",
        )


def _run(*command: str) -> None:
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, check=False, timeout=DOWNLOAD_TIMEOUT_S
        )
    except subprocess.TimeoutExpired as late:
        raise LabError(
            f"{command[0]} was not done after {DOWNLOAD_TIMEOUT_S} s: {shlex.join(command)}",
            fix="look after the network, then run again: qualify lab fetch",
        ) from late
    if done.returncode != 0:
        last = (done.stderr or done.stdout).strip().splitlines() or ["it said nothing"]
        raise LabError(
            f"{shlex.join(command)} failed: {last[-1]}",
            fix="look after the network and the package sources, then run again: qualify lab fetch",
        )
