"""Where the result of a self-check is kept, and whether it still holds for this machine."""

import json
import os
import platform
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from pathlib import Path

from qualify.lab.programs import private_folder
from qualify.plan.capability import Capability

# Kernels, load and habits change; what was true a quarter of a year ago may not be.
HOLDS_FOR = timedelta(days=90)
_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Machine:
    """What a self-check holds for: the kernel, the architecture, and the processors we may use."""

    kernel: str
    architecture: str
    cpus: int


@dataclass(frozen=True, slots=True)
class Kept:
    """What is known of a backend on this machine.

    ``remark`` says why a result that is there does not count; else it is empty.
    """

    capability: Capability | None
    remark: str


def this_machine() -> Machine:
    """Describe this machine."""
    return Machine(platform.release(), platform.machine(), len(os.sched_getaffinity(0)))


def kept_file(backend: str, folder: Path | None = None) -> Path:
    """Return the file that holds the result for a backend."""
    return (folder or private_folder()) / f"self-check-{backend}.json"


def keep_capability(capability: Capability, *, folder: Path | None = None) -> Path:
    """Keep the result of a self-check in place of the last one; returns the file."""
    file = kept_file(capability.backend, folder)
    file.parent.mkdir(parents=True, exist_ok=True)
    kept = {
        "format": _FORMAT,
        "machine": asdict(this_machine()),
        "capability": asdict(capability),
    }
    fresh = file.with_suffix(".new")
    fresh.write_text(json.dumps(kept, indent=2) + "\n")
    fresh.replace(file)
    return file


def read_capability(backend: str, *, today: date, folder: Path | None = None) -> Kept:
    """Read the kept result for a backend; one of another machine or time is not used."""
    file = kept_file(backend, folder)
    if not file.is_file():
        return Kept(None, "")
    try:
        capability, machine = _parse(file.read_text())
        measured_on = date.fromisoformat(capability.measured_on)
    except (OSError, LookupError, TypeError, ValueError) as error:
        return _ignored(file, f"it cannot be read ({error})")
    if machine != this_machine():
        return _ignored(file, f"it was made on another machine or kernel ({machine.kernel})")
    if not timedelta(0) <= today - measured_on <= HOLDS_FOR:
        return _ignored(file, f"it is of {measured_on}")
    return Kept(capability, "")


def _parse(text: str) -> tuple[Capability, Machine]:
    """Read a kept result.

    Raises:
        LookupError, TypeError, ValueError: it is none, or one of another format.
    """
    kept = json.loads(text)
    if kept["format"] != _FORMAT:
        raise ValueError(f"format {kept['format']}, not {_FORMAT}")
    return Capability(**kept["capability"]), Machine(**kept["machine"])


def _ignored(file: Path, reason: str) -> Kept:
    return Kept(
        None, f"{file} is not used: {reason}; check again: qualify measure --self-check TESTBED"
    )
