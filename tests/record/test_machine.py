"""The machine is described by what can change a figure, never by its name."""

import getpass
import platform

from qualify.record.codec import encode
from qualify.record.json_text import write_json
from qualify.record.machine import describe_machine


def test_kernel_processors_and_versions_are_there() -> None:
    machine = describe_machine()
    assert machine.kernel is not None
    assert machine.kernel.startswith("Linux ")
    assert machine.cpus is not None
    assert machine.cpus > 0
    assert machine.python == platform.python_version()
    assert list(machine.packages) == ["jinja2", "numpy", "pytest", "scapy"]


def test_neither_the_machine_nor_its_user_is_named() -> None:
    machine = describe_machine()
    assert set(encode(machine)) == {"kernel", "architecture", "cpus", "python", "packages"}
    values = write_json(encode(machine)).split('"')
    assert platform.node() not in values
    assert getpass.getuser() not in values
