"""``qualify demo``: one release qualified end to end on the bench that ships with the project."""

import argparse
import subprocess
import sys

from qualify.errors import QualifyError
from qualify.lab.fetch import fetch_programs
from qualify.lab.machine import missing_for_lab, missing_programs
from qualify.lab.programs import lab_programs

RELEASE = "5.2.0-rc3"
CASE = "cases/mixed-one-tier.yaml"
VIRTUAL = "testbeds/virtual-one-tier.yaml"
SIMULATED = "testbeds/simulated-one-tier.yaml"


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add ``demo`` to the command."""
    parser = subparsers.add_parser(
        "demo",
        help="qualify a demo release on the bench that ships with the project",
        description="Qualify the release 5.2.0-rc3 of an invented maker: in the virtual lab, with "
        "real frames and real OSPF and BGP, or in a simulation where the machine allows no more. "
        "Run it in the project folder.",
    )
    parser.add_argument("--release", default=RELEASE, help=f"release to qualify ({RELEASE})")
    parser.add_argument("--reports", default="reports", help="where the report goes (reports)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Choose the bench and run pytest on it; returns pytest's exit status."""
    testbed = _choose_testbed()
    command = [
        *("pytest", CASE, "--testbed", testbed, "--release", arguments.release),
        *("--trials=1", "--reports", arguments.reports),
    ]
    print(f"$ {' '.join(command)}", flush=True)
    return subprocess.run([sys.executable, "-m", *command], check=False).returncode


def _choose_testbed() -> str:
    missing = _missing()
    if not missing:
        print("The virtual lab: real frames through the kernel, real OSPF and BGP.")
        return VIRTUAL
    print("This machine lacks what the virtual lab needs:")
    for each in missing:
        print(f"  - {each}")
    print(
        "So the demo runs in a simulation: every file, check, figure and report is the real one,\n"
        "but no frame is sent and no routing protocol spoken."
    )
    return SIMULATED


def _missing() -> tuple[str, ...]:
    """Name what stays missing after a fetch; where rights are missing, nothing is fetched."""
    programs = lab_programs()
    missing = missing_for_lab(programs)
    if not missing or missing != missing_programs(programs):
        return missing
    print(f"fetching the programs of the lab into {programs.folder} …", flush=True)
    try:
        fetch_programs(programs)
    except QualifyError as error:
        return (*missing, str(error))
    return missing_for_lab(programs)
