"""Ports joined to each other: what is sent at one arrives at the other, and nothing is left."""

import pytest

from qualify.errors import LabError
from qualify.lab.patch import Patch

pytestmark = pytest.mark.live


def test_each_port_has_a_namespace_and_its_gateway_is_the_other_end() -> None:
    with Patch([("p1", "p2"), ("p5", "p6")]) as patch:
        assert patch.ports == ("p1", "p2", "p5", "p6")
        cables = {port: patch.port_access(port) for port in patch.ports}
        files = {cable.namespace for cable in cables.values()}
        assert len({file.stat().st_ino for file in files}) == 4
        for one, other in (("p1", "p2"), ("p5", "p6")):
            assert cables[one].interface == one
            assert cables[one].gateway_mac == cables[other].mac
            assert cables[other].gateway_mac == cables[one].mac
    assert not any(file.exists() for file in files)


def test_every_cable_has_a_link() -> None:
    with Patch([("p1", "p2")]) as patch:
        for port in patch.ports:
            shown = patch.namespace(port).run("ip", "-o", "link", "show", port)
            assert "state UP" in shown


def test_a_port_that_is_not_there_is_refused() -> None:
    with (
        Patch([("p1", "p2")]) as patch,
        pytest.raises(
            LabError, match=r"^no cable leads to a port 'p3'\n  fix: choose one of p1, p2$"
        ),
    ):
        patch.port_access("p3")


def test_a_patch_that_cannot_be_built_leaves_nothing() -> None:
    with pytest.raises(LabError, match=r"^a command in the lab ended with"):
        Patch([("p1", "p2"), ("p1", "p3")])
