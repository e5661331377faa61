"""What this machine lacks for the virtual lab, told without building one."""

import os
import shutil
from pathlib import Path

from qualify.lab.programs import FOR_PEOPLE, PACKAGES, Programs, lab_programs

SYSTEM_PROGRAMS = ("unshare", "nsenter", "setpriv", "mount")
_NAMESPACES = ("mnt", "net", "pid")


def missing_for_lab(programs: Programs | None = None) -> tuple[str, ...]:
    """Name what the machine lacks, each as a short phrase; empty: a lab can be tried."""
    return _missing_rights() + missing_programs(programs or lab_programs())


def missing_programs(programs: Programs) -> tuple[str, ...]:
    """Name the programs that the lab cannot do without and that are not there."""
    fetched = tuple(
        f"the program {name} (package {PACKAGES[name]}; run: qualify lab fetch)"
        for name in programs.missing()
        if name not in FOR_PEOPLE
    )
    system = tuple(
        f"the program {name} (package util-linux or mount)"
        for name in SYSTEM_PROGRAMS
        if shutil.which(name) is None
    )
    return fetched + system


def _missing_rights() -> tuple[str, ...]:
    rights = () if os.geteuid() == 0 else ("the rights of root (run it as root)",)
    kernel = tuple(
        f"a kernel with {kind} namespaces"
        for kind in _NAMESPACES
        if not Path(f"/proc/self/ns/{kind}").exists()
    )
    return rights + kernel
