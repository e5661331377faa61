"""What a testbed becomes in the lab: a namespace for each device and port, and the cables."""

from dataclasses import dataclass
from pathlib import Path

from qualify.errors import LabError
from qualify.testbed.testbed import Testbed

LONGEST_NAME = 15
_RESERVED = ("lo", "all", "default", "up", "a")


@dataclass(frozen=True, slots=True)
class Wire:
    """One cable: the tester port with its MAC address, and the device port with its own."""

    port: str
    port_mac: str
    dut: str
    dut_port: str
    dut_mac: str


@dataclass(frozen=True, slots=True)
class Cable:
    """How to reach a tester port: what a traffic backend needs to know of it.

    ``gateway_mac`` belongs to the device port at the other end.
    """

    interface: str
    mac: str
    gateway_mac: str
    namespace: Path


@dataclass(frozen=True, slots=True)
class Layout:
    """The namespaces of the lab and its cables; every tester port has a namespace of its own."""

    duts: tuple[str, ...]
    ports: tuple[str, ...]
    wires: tuple[Wire, ...]

    @property
    def namespaces(self) -> tuple[str, ...]:
        """Return the names of all namespaces, devices first."""
        return self.duts + self.ports


def lay_out(testbed: Testbed) -> Layout:
    """Lay out the lab of a testbed.

    Raises:
        LabError: the testbed asks for what this lab cannot build.
    """
    _check_size(testbed)
    duts = tuple(dut.name for dut in testbed.duts)
    wires = tuple(
        Wire(
            port=port.name,
            port_mac=f"02:10:00:00:00:{number:02x}",
            dut=port.attach.dut,
            dut_port=port.attach.port,
            dut_mac=f"02:20:00:00:{duts.index(port.attach.dut):02x}:{number:02x}",
        )
        for number, port in enumerate(testbed.tester.ports, start=1)
    )
    layout = Layout(duts, tuple(wire.port for wire in wires), wires)
    _check_names(testbed, layout)
    return layout


def _check_size(testbed: Testbed) -> None:
    if len(testbed.duts) != 1 or testbed.links:
        raise LabError(
            f"the virtual lab has room for one device and no links; this testbed has "
            f"{len(testbed.duts)} devices and {len(testbed.links)} links",
            fix="describe one device, or set kind: simulated",
            where=str(testbed.file),
        )


def _check_names(testbed: Testbed, layout: Layout) -> None:
    names = (*layout.namespaces, *(wire.dut_port for wire in layout.wires))
    for name in names:
        if len(name) > LONGEST_NAME or name in _RESERVED or not name.isalnum():
            raise LabError(
                f"{name!r} cannot be the name of a network interface in the lab",
                fix=f"use up to {LONGEST_NAME} letters and digits, and none of "
                + ", ".join(_RESERVED),
                where=str(testbed.file),
            )
    if len(set(layout.namespaces)) != len(layout.namespaces):
        raise LabError(
            "a device and a tester port have the same name, and each needs its own namespace",
            fix="give every device and every tester port a name of its own",
            where=str(testbed.file),
        )
