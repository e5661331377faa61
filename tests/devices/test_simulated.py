"""A simulated device answers as a real one would, from the truth of the simulation."""

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from qualify.clock import VirtualClock
from qualify.devices.simulated import SimulatedDevice
from qualify.errors import DeviceError, ImageRefusedError
from qualify.simulation.simulation import Simulation
from qualify.site import Site
from qualify.testbed.image import Image, SimulatedBehaviour, SimulatedOutcome
from tests.sample import TESTBED, UNTOUCHED, image

SUM = hashlib.sha256((Path(__file__).parents[1] / "sample.py").read_bytes()).hexdigest()


def sound(release: str, behaviour: SimulatedBehaviour = UNTOUCHED) -> Image:
    return replace(image(release, behaviour), sha256=SUM)


def booted() -> tuple[SimulatedDevice, VirtualClock]:
    clock = VirtualClock(0)
    site = Site(TESTBED, clock, None, Simulation(TESTBED, clock))
    device = SimulatedDevice(TESTBED.duts[0], site)
    device.restore(image("5.1.0"))
    return device, clock


def test_facts_name_the_running_release() -> None:
    device, _ = booted()

    facts = device.facts()

    assert (facts.maker, facts.model, facts.release) == ("Ostrevane", "Tern 6", "5.1.0")
    assert all(facts.redundancy.values())


def test_tables_name_every_peer_and_count_the_routes() -> None:
    device, _ = booted()

    tables = device.tables()

    assert [neighbor.address for neighbor in tables.neighbors] == [
        "198.18.2.10",
        "198.19.2.10",
        "198.18.3.10",
        "198.19.3.10",
    ]
    assert tables.routes == {"ospf": 5, "bgp": 8}


def test_an_upgrade_ends_with_the_new_release() -> None:
    device, clock = booted()
    device.install(sound("5.2.0"))

    device.activate()
    assert not device.verify().finished
    with pytest.raises(DeviceError, match=r"^d1 does not answer while it upgrades"):
        device.facts()
    clock.sleep(60)

    assert device.verify().finished
    assert device.verify().release == "5.2.0"
    device.close()


def test_a_device_that_fell_back_says_so() -> None:
    device, clock = booted()
    device.install(sound("5.2.0", replace(UNTOUCHED, outcome=SimulatedOutcome.FELL_BACK)))
    device.activate()
    clock.sleep(60)

    verification = device.verify()

    assert verification.release == "5.1.0"
    assert verification.message == "activation failed, previous release started again"


def test_a_wrong_sum_is_refused_before_anything_is_touched() -> None:
    device, _ = booted()

    with pytest.raises(
        ImageRefusedError,
        match=r"d1 refused 5.2.0: the SHA-256 of its image is .*the manifest says 222",
    ):
        device.install(image("5.2.0"))
    with pytest.raises(DeviceError, match=r"^d1 has no image to activate"):
        device.activate()
    assert device.facts().release == "5.1.0"


def test_an_image_for_another_model_is_refused() -> None:
    device, _ = booted()

    with pytest.raises(ImageRefusedError, match=r"d1 refused 5.2.0: it is not made for this model"):
        device.install(sound("5.2.0", replace(UNTOUCHED, outcome=SimulatedOutcome.REFUSED)))
