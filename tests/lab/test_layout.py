"""What a testbed becomes in the lab."""

from dataclasses import replace

import pytest

from qualify.errors import LabError
from qualify.lab.layout import Wire, lay_out
from qualify.testbed.testbed import Attachment, Port, Tester
from tests.sample import TESTBED, THREE_TIERS


def test_every_device_and_tester_port_has_its_own_namespace() -> None:
    assert lay_out(TESTBED).namespaces == ("d1", "p1", "p2", "p3", "p4", "p5", "p6")


def test_every_cable_has_the_same_addresses_every_time() -> None:
    assert lay_out(TESTBED).wires[2] == Wire(
        port="p3",
        port_mac="02:10:00:00:00:03",
        dut="d1",
        dut_port="e3",
        dut_mac="02:20:00:00:00:03",
    )


def test_more_than_one_device_is_refused_by_name_of_the_file() -> None:
    with pytest.raises(
        LabError,
        match=r"^testbeds/sample.yaml: the virtual lab has room for one device and no links; this "
        r"testbed has 3 devices and 2 links\n  fix: describe one device, or set kind: simulated$",
    ):
        lay_out(THREE_TIERS)


@pytest.mark.parametrize("name", ["up", "lo", "p" * 16, "p 1", "p/1"])
def test_a_name_that_no_interface_can_have_is_refused(name: str) -> None:
    tester = Tester("scapy", (Port(name, Attachment("d1", "e1")),))

    with pytest.raises(LabError, match=r"cannot be the name of a network interface in the lab"):
        lay_out(replace(TESTBED, tester=tester))


def test_a_port_with_the_name_of_a_device_is_refused() -> None:
    tester = Tester("scapy", (Port("d1", Attachment("d1", "e1")),))

    with pytest.raises(LabError, match=r"^testbeds/sample.yaml: a device and a tester port have"):
        lay_out(replace(TESTBED, tester=tester))
