"""Drivers, peers and backends, found by their entry points: ours as other people's."""

from collections.abc import Callable
from importlib.metadata import entry_points
from typing import Any

from qualify.devices.device import Device
from qualify.errors import BenchError
from qualify.peers.peer import Peer
from qualify.plan.trial import PeerPlan
from qualify.site import Site
from qualify.testbed.testbed import Dut
from qualify.traffic.backend import TrafficBackend


def open_device(dut: Dut, site: Site) -> Device:
    """Open the driver that the testbed names for a device.

    Raises:
        BenchError: no driver of that name is installed.
    """
    where = f"{site.testbed.file} duts.{dut.name}.driver"
    device: Device = _load("qualify.devices", dut.driver, where)(dut, site)
    return device


def open_traffic(site: Site) -> TrafficBackend:
    """Open the traffic backend that the testbed names.

    Raises:
        BenchError: no backend of that name is installed.
    """
    where = f"{site.testbed.file} tester.traffic"
    backend: TrafficBackend = _load("qualify.traffic", site.testbed.tester.traffic, where)(site)
    return backend


def open_peer(plan: PeerPlan, site: Site) -> Peer:
    """Open a peer of the testbed's kind.

    Raises:
        BenchError: no such peer is installed.
    """
    where = f"{site.testbed.file} kind"
    peer: Peer = _load("qualify.peers", site.testbed.kind, where)(plan, site)
    return peer


def _load(group: str, name: str, where: str) -> Callable[..., Any]:
    found = {entry.name: entry for entry in entry_points(group=group)}
    if name not in found:
        raise BenchError(
            f"nothing named '{name}' is installed in {group}",
            fix=f"use one of: {', '.join(sorted(found))}; or install the package that brings it",
            where=where,
        )
    factory: Callable[..., Any] = found[name].load()
    return factory
