"""What this machine lacks for the virtual lab, told without building one."""

import os
import shutil
import subprocess
from pathlib import Path

from qualify.lab.enclosure import UNSHARE
from qualify.lab.programs import FOR_PEOPLE, PACKAGES, Programs, lab_programs

SYSTEM_PROGRAMS = ("unshare", "nsenter", "setpriv", "mount")
_NAMESPACES = ("mnt", "net", "pid")
_CAPABILITIES = {"net_admin": 12, "net_raw": 13, "sys_admin": 21}
"""What the lab needs beyond being root; numbers from capabilities(7)."""


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
    if os.geteuid() != 0:
        return ("the rights of root (run it as root)",)
    status = Path("/proc/self/status").read_text()
    effective = int(status.partition("CapEff:")[2].split()[0], 16)
    missing = missing_capabilities(effective) + tuple(
        f"a kernel with {kind} namespaces"
        for kind in _NAMESPACES
        if not Path(f"/proc/self/ns/{kind}").exists()
    )
    return missing or _refused_namespaces()


def _refused_namespaces() -> tuple[str, ...]:
    """Ask the kernel for the namespaces of a lab, for an instant: the surest way to know."""
    if shutil.which(UNSHARE[0]) is None:
        return ()  # named among the programs
    tried = subprocess.run([*UNSHARE, "true"], capture_output=True, text=True, check=False)
    if tried.returncode == 0:
        return ()
    said = tried.stderr.strip() or f"exit status {tried.returncode}"
    return (f"namespaces of its own ({said})",)


def missing_capabilities(effective: int) -> tuple[str, ...]:
    """Name what a set of capabilities (``CapEff``) lacks: root in a container may lack some."""
    return tuple(
        f"the capability {name} (use a machine, or a container that grants it)"
        for name, bit in _CAPABILITIES.items()
        if not effective >> bit & 1
    )
