"""Manifests of software images."""

from collections.abc import Callable
from pathlib import Path as FilePath

import pytest

from qualify.errors import FileError
from qualify.testbed.complaint import ComplaintsError
from qualify.testbed.image import (
    Image,
    Interruption,
    SimulatedBehaviour,
    SimulatedNeighbors,
    SimulatedOutcome,
    UpgradeMethod,
    VirtualBehaviour,
)
from qualify.testbed.image_file import find_image, read_images
from qualify.testbed.testbed import PathKind, Testbed

Write = Callable[..., FilePath]

FOLDER = FilePath("stock")
VIRTUAL = "upgrade: {method: graceful, boot_s: 0.5, kept_routes_s: 15}\n"


@pytest.fixture
def virtual_text(image_text: str) -> str:
    return image_text[: image_text.index("upgrade:")].replace("simulated", "virtual") + VIRTUAL


def refusal() -> str:
    with pytest.raises(ComplaintsError) as caught:
        read_images(FOLDER)
    return str(caught.value)


def test_a_manifest_becomes_an_image_with_exact_times(write: Write, image_text: str) -> None:
    file = write(image_text, "stock/a.yaml")
    payload = write("abc", "stock/tern6.bin")
    assert read_images(FOLDER) == (
        Image(
            name="tern6-5.2.0-rc3",
            maker="Ostrevane",
            model="Tern 6",
            train="5.2",
            release="5.2.0-rc3",
            driver="simulated",
            payload=payload,
            sha256="ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
            behaviour=SimulatedBehaviour(
                outcome=SimulatedOutcome.UPGRADED,
                upgrade_ns=40_000_000_000,
                interruptions={
                    PathKind.L2: (
                        Interruption(2_500_000_000, 3_000_001, every=1, towards=None),
                        Interruption(4_000_000_000, 1_000_000, every=2, towards=1),
                    )
                },
                neighbors={
                    PathKind.EGP: SimulatedNeighbors(
                        flaps=2, graceful_restarts=1, down_ns=500_000_000, stays_down=True
                    )
                },
                routes_lost={PathKind.EGP: 6000},
            ),
            file=file,
        ),
    )


def test_a_virtual_image_says_how_it_upgrades(write: Write, virtual_text: str) -> None:
    write(virtual_text, "stock/a.yaml")
    write("abc", "stock/tern6.bin")
    (image,) = read_images(FOLDER)
    assert image.behaviour == VirtualBehaviour(
        method=UpgradeMethod.GRACEFUL, boot_s=0.5, kept_routes_s=15
    )


def test_what_a_simulated_upgrade_leaves_out_does_not_happen(write: Write, image_text: str) -> None:
    head = image_text[: image_text.index("upgrade:")]
    write(head + "upgrade: {outcome: refused, neighbors: {igp: {}}}\n", "stock/a.yaml")
    write("abc", "stock/tern6.bin")
    (image,) = read_images(FOLDER)
    assert image.behaviour == SimulatedBehaviour(
        outcome=SimulatedOutcome.REFUSED,
        upgrade_ns=30_000_000_000,
        interruptions={},
        neighbors={PathKind.IGP: SimulatedNeighbors(0, 0, 0, stays_down=False)},
        routes_lost={},
    )


def test_a_missing_payload_is_complained_about(write: Write, image_text: str) -> None:
    write(image_text, "stock/a.yaml")
    assert refusal() == (
        "stock/a.yaml:7:10 payload: there is no file tern6.bin beside the manifest\n"
        "  fix: put the payload there, or correct its name"
    )


def test_a_wrong_sum_is_left_to_the_device(write: Write, image_text: str) -> None:
    write(image_text, "stock/a.yaml")
    write("not abc", "stock/tern6.bin")
    (image,) = read_images(FOLDER)
    assert image.sha256.startswith("ba7816bf")


def test_one_release_cannot_have_two_images_for_one_driver(write: Write, image_text: str) -> None:
    write(image_text, "stock/a.yaml")
    write(image_text, "stock/b.yaml")
    write("abc", "stock/tern6.bin")
    assert refusal() == (
        "stock/b.yaml:5:10 release: release 5.2.0-rc3 for simulated devices stands in a.yaml as "
        "well\n  fix: delete one of the two manifests"
    )


def test_one_release_may_have_an_image_for_each_driver(
    write: Write, image_text: str, virtual_text: str
) -> None:
    write(image_text, "stock/b.yaml")
    write(virtual_text, "stock/a.yml")
    write("abc", "stock/tern6.bin")
    assert [image.driver for image in read_images(FOLDER)] == ["virtual", "simulated"]


def test_mistakes_of_all_manifests_are_shown_at_once(write: Write, image_text: str) -> None:
    write("abc", "stock/tern6.bin")
    write(image_text.replace('"5.2"', "5.2"), "stock/c.yaml")
    write("", "stock/b.yaml")
    write("- 1\n", "stock/a.yaml")
    assert [line for line in refusal().splitlines() if "fix:" not in line] == [
        "stock/a.yaml:1:1: the top of the file is not a mapping",
        "stock/b.yaml: the file is empty",
        "stock/c.yaml:4:8 train: 5.2 is read as a number",
    ]


def test_a_sum_of_digits_alone_must_be_quoted(write: Write, image_text: str) -> None:
    write("abc", "stock/tern6.bin")
    sum_of_digits = "1234567890" * 6 + "1234"
    quoted = '"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"'
    write(image_text.replace(quoted, sum_of_digits), "stock/a.yaml")
    assert f"stock/a.yaml:8:9 sha256: {sum_of_digits} is read as a number" in refusal()


def test_a_folder_that_is_not_there_says_what_to_do(write: Write) -> None:
    write("x")
    assert refusal() == (
        "stock: the folder of software images cannot be read: no such file or directory\n"
        "  fix: create it, or name another one under images: in the testbed"
    )


def test_an_image_is_found_by_release_and_driver(
    write: Write, image_text: str, virtual_text: str, testbed: Testbed
) -> None:
    write(image_text, "stock/a.yaml")
    write(virtual_text, "stock/b.yaml")
    write("abc", "stock/tern6.bin")
    found = find_image(testbed, release="5.2.0-rc3", images=read_images(FOLDER))
    assert found.file == FilePath("stock/b.yaml")


def test_a_missing_image_names_the_nearest_release_and_all_others(
    write: Write, virtual_text: str, testbed: Testbed
) -> None:
    write(virtual_text, "stock/a.yaml")
    write(virtual_text.replace("release: 5.2.0-rc3", "release: 5.1.0"), "stock/b.yaml")
    write("abc", "stock/tern6.bin")
    with pytest.raises(FileError) as caught:
        find_image(testbed, release="5.2.0-rc4", images=read_images(FOLDER))
    assert str(caught.value) == (
        "images: there is no image of release 5.2.0-rc4 for virtual devices\n"
        "  fix: did you mean 5.2.0-rc3? (there are: 5.2.0-rc3, 5.1.0)"
    )


def test_a_missing_driver_says_so(write: Write, image_text: str, testbed: Testbed) -> None:
    write(image_text, "stock/a.yaml")
    write("abc", "stock/tern6.bin")
    with pytest.raises(FileError) as caught:
        find_image(testbed, release="5.2.0-rc3", images=read_images(FOLDER))
    assert str(caught.value) == (
        "images: there is no image of release 5.2.0-rc3 for virtual devices\n"
        "  fix: add a manifest with driver: virtual"
    )
