"""The testbeds, cases and images that ship with the project."""

import hashlib
from pathlib import Path

import pytest

from qualify.testbed.case import Case, Order
from qualify.testbed.case_file import read_case
from qualify.testbed.image import (
    SimulatedBehaviour,
    SimulatedOutcome,
    UpgradeMethod,
    VirtualBehaviour,
)
from qualify.testbed.image_file import find_image, read_images
from qualify.testbed.testbed import BenchKind, PathKind, Testbed
from qualify.testbed.testbed_file import read_testbed

PROJECT = Path(__file__).parents[2]
CASES = [
    ("mixed-one-tier", ("l2", "igp", "egp"), 1, Order.SIMULTANEOUS),
    ("l2-one-tier", ("l2",), 1, Order.SIMULTANEOUS),
    ("igp-one-tier", ("igp",), 1, Order.SIMULTANEOUS),
    ("egp-one-tier", ("egp",), 1, Order.SIMULTANEOUS),
    ("mixed-three-tier", ("l2", "igp", "egp"), 3, Order.SIMULTANEOUS),
    ("mixed-three-tier-rolling", ("l2", "igp", "egp"), 3, Order.ROLLING),
]


def shipped(name: str) -> Testbed:
    return read_testbed(PROJECT / "testbeds" / f"{name}.yaml")


@pytest.mark.parametrize(
    ("name", "kind", "scale"),
    [
        ("virtual-one-tier", BenchKind.VIRTUAL, (10, 200, 1_000)),
        ("simulated-one-tier", BenchKind.SIMULATED, (120, 3_000, 12_000)),
        ("simulated-three-tier", BenchKind.SIMULATED, (120, 3_000, 12_000)),
    ],
)
def test_the_testbeds_have_the_scale_that_they_promise(
    name: str, kind: BenchKind, scale: tuple[int, int, int]
) -> None:
    testbed = shipped(name)
    paths = {path.kind: path for path in testbed.paths}
    assert testbed.kind is kind
    assert (
        paths[PathKind.L2].hosts,
        paths[PathKind.IGP].routes,
        paths[PathKind.EGP].routes,
    ) == scale


def test_every_path_of_the_three_tier_testbed_crosses_three_tiers() -> None:
    testbed = shipped("simulated-three-tier")
    assert testbed.tiers == 3
    for path in testbed.paths:
        assert [testbed.port(port).attach.dut for port in path.ports] == ["d1", "d3"]


@pytest.mark.parametrize(("name", "paths", "tiers", "order"), CASES)
def test_the_cases_fit_every_shipped_testbed(
    name: str, paths: tuple[str, ...], tiers: int, order: Order
) -> None:
    for testbed in ("virtual-one-tier", "simulated-one-tier", "simulated-three-tier"):
        case: Case = read_case(PROJECT / "cases" / f"{name}.yaml", shipped(testbed))
        assert (case.name, case.paths, case.tiers, case.order) == (name, paths, tiers, order)
        assert {budget.outage_ns for budget in case.budgets.values()} == {50_000_000}


def test_no_case_is_shipped_that_is_not_checked_here() -> None:
    files = {file.stem for file in (PROJECT / "cases").glob("*.yaml")}
    assert files == {name for name, *_ in CASES}


def test_only_the_image_that_devices_must_refuse_has_a_wrong_sum() -> None:
    wrong = [
        image.file.name
        for image in read_images(PROJECT / "testbeds" / "images")
        if hashlib.sha256(image.payload.read_bytes()).hexdigest() != image.sha256
    ]
    assert wrong == ["tern6-5.2.0-rc1.simulated.yaml"]


def test_every_testbed_has_an_image_of_the_release_it_starts_from() -> None:
    for file in (PROJECT / "testbeds").glob("*.yaml"):
        testbed = read_testbed(file)
        images = read_images(testbed.images)
        for dut in testbed.duts:
            found = find_image(testbed, release=dut.release, images=images)
            assert (found.train, found.driver) == ("5.1", dut.driver)


@pytest.mark.parametrize(
    ("release", "outcome"),
    [
        ("5.2.0-rc1", SimulatedOutcome.REFUSED),
        ("5.2.0-rc2", SimulatedOutcome.UPGRADED),
        ("5.2.0-rc3", SimulatedOutcome.UPGRADED),
        ("5.2.0-rc4", SimulatedOutcome.NEVER_BACK),
        ("5.2.0-rc5", SimulatedOutcome.UPGRADED),
    ],
)
def test_each_simulated_candidate_ends_as_its_comment_says(
    release: str, outcome: SimulatedOutcome
) -> None:
    testbed = shipped("simulated-one-tier")
    image = find_image(testbed, release=release, images=read_images(testbed.images))
    assert isinstance(image.behaviour, SimulatedBehaviour)
    assert image.behaviour.outcome is outcome
    assert image.train == "5.2"


def test_the_good_candidate_stays_below_the_budget_and_the_cold_one_far_above() -> None:
    outages = {}
    for image in read_images(PROJECT / "testbeds" / "images"):
        if isinstance(image.behaviour, SimulatedBehaviour):
            outages[image.release] = [
                one.outage_ns
                for several in image.behaviour.interruptions.values()
                for one in several
            ]
    assert max(outages["5.2.0-rc3"]) < 20_000_000
    assert min(outages["5.2.0-rc2"]) > 1_000_000_000


def test_the_virtual_candidates_differ_in_their_method() -> None:
    testbed = shipped("virtual-one-tier")
    images = read_images(testbed.images)
    cold = find_image(testbed, release="5.2.0-rc2", images=images).behaviour
    graceful = find_image(testbed, release="5.2.0-rc3", images=images).behaviour
    assert isinstance(cold, VirtualBehaviour)
    assert isinstance(graceful, VirtualBehaviour)
    assert (cold.method, cold.boot_s) == (UpgradeMethod.COLD, 3.0)
    assert (graceful.method, graceful.kept_routes_s) == (UpgradeMethod.GRACEFUL, 15)
