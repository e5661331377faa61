"""Facts about the machine that measures: what can change a figure, and nothing that names it."""

import os
import platform
from importlib.metadata import version

from qualify.record.model import MachineRecord

_PACKAGES = ("jinja2", "numpy", "pytest", "scapy")


def describe_machine() -> MachineRecord:
    """Describe this machine, without its name, its addresses or its users."""
    return MachineRecord(
        kernel=f"{platform.system()} {platform.release()}",
        architecture=platform.machine(),
        cpus=os.cpu_count(),
        python=platform.python_version(),
        packages={package: version(package) for package in _PACKAGES},
    )
