"""``qualify check``: every mistake of all files at once, or one line for each file."""

from pathlib import Path

import pytest

from qualify.cli.main import main

TESTBED = """\
testbed: quay
kind: simulated
tester:
  traffic: simulated
  ports:
    p1: {attach: d1/e1}
    p2: {attach: d1/e2}
duts:
  d1: {tier: 1, driver: simulated, release: 5.1.0}
paths:
  l2: {kind: l2, ports: [p1, p2], hosts: 120}
"""
CASE = """\
case: switching
paths: [l2]
tiers: 1
trials: 1
stream: {offered_load_pps: 200, frame_octets: 128}
budgets:
  l2: {outage_ms: 50}
"""
IMAGE = """\
image: tern6-5.1.0
maker: Ostrevane
model: Tern 6
train: "5.1"
release: 5.1.0
driver: simulated
payload: tern6.bin
sha256: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
upgrade: {outcome: upgraded}
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A testbed, a case and an image without mistakes, in the current folder."""
    monkeypatch.chdir(tmp_path)
    Path("images").mkdir()
    Path("images/tern6.yaml").write_text(IMAGE)
    Path("images/tern6.bin").write_text("abc")
    Path("testbed.yaml").write_text(TESTBED)
    Path("case.yaml").write_text(CASE)
    return tmp_path


def test_files_without_mistakes_are_summed_up(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "testbed.yaml", "case.yaml"]) == 0
    assert capsys.readouterr().out == (
        "testbed.yaml: testbed quay, simulated, 1 device on 1 tier, 2 tester ports, paths l2\n"
        "images: releases for simulated devices: 5.1.0\n"
        "case.yaml: case switching, 1 trial, simultaneous, paths l2, 200 frames of 128 octets per "
        "second\n"
    )


@pytest.mark.parametrize(
    ("frame_octets", "written"),
    [("aaafg", "IMIX - aaafg"), ("[64, 9216, 1000]", "64 to 9216")],
)
def test_a_mix_of_sizes_is_summed_up(
    capsys: pytest.CaptureFixture[str], frame_octets: str, written: str
) -> None:
    Path("case.yaml").write_text(CASE.replace("128", frame_octets))
    assert main(["check", "testbed.yaml", "case.yaml"]) == 0
    assert f"200 frames of {written} octets per second\n" in capsys.readouterr().out


def test_frames_too_small_for_a_path_are_a_mistake(capsys: pytest.CaptureFixture[str]) -> None:
    Path("testbed.yaml").write_text(TESTBED.replace("hosts: 120", "hosts: 120, headers: ipv6"))
    Path("case.yaml").write_text(CASE.replace("128", "64"))
    assert main(["check", "testbed.yaml", "case.yaml"]) == 1
    assert (
        "case.yaml stream.frame_octets: frames of 64 octets are too small for path l2: "
        "IPv6 and UDP, no VLAN tag and the test payload do not fit in\n"
        "  fix: send no frames of less than 84 octets"
    ) in capsys.readouterr().out


def test_a_case_for_another_number_of_tiers_is_said_to_be_left_out(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("case.yaml").write_text(CASE.replace("tiers: 1", "tiers: 3"))
    assert main(["check", "testbed.yaml", "case.yaml"]) == 0
    assert capsys.readouterr().out.endswith("; needs 3 tiers, so it is left out on this testbed\n")


def test_mistakes_of_all_files_are_shown_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    Path("testbed.yaml").write_text(TESTBED.replace("hosts: 120", "host: 120"))
    Path("case.yaml").write_text(CASE.replace("  l2: {", "  l3: {"))
    assert main(["check", "testbed.yaml", "case.yaml", "gone.yaml"]) == 1
    assert capsys.readouterr().out == (
        "testbed.yaml:11:3 paths.l2: the key 'hosts' is missing\n"
        "  fix: add hosts: 120\n"
        "testbed.yaml:11:35 paths.l2.host: the key 'host' is not known here\n"
        "  fix: did you mean hosts?\n"
        "case.yaml:2:9 paths[0]: path l2 has no budget\n"
        "  fix: add l2: {outage_ms: 50} under budgets\n"
        "case.yaml:7:3 budgets.l3: a budget on a path that this case does not use: 'l3'\n"
        "  fix: delete it, or add l3 to the paths of the case\n"
        "gone.yaml: there is no such file\n"
        "  fix: correct the path\n"
    )


def test_a_good_case_beside_a_bad_testbed_says_how_far_it_was_checked(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check", ".", "case.yaml"]) == 1
    assert capsys.readouterr().out == (
        ".: this is a folder\n"
        "  fix: name one YAML file in it\n"
        "case.yaml: no mistake of its own; not compared with the testbed\n"
    )


def test_a_testbed_without_an_image_of_its_release_is_a_mistake(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("testbed.yaml").write_text(TESTBED.replace("release: 5.1.0", "release: 5.1.1"))
    assert main(["check", "testbed.yaml"]) == 1
    assert capsys.readouterr().out.splitlines()[1:] == [
        "images: there is no image of release 5.1.1 for simulated devices",
        "  fix: did you mean 5.1.0? (there are: 5.1.0)",
    ]


def test_mistakes_in_manifests_are_shown(capsys: pytest.CaptureFixture[str]) -> None:
    Path("images/tern6.bin").unlink()
    assert main(["check", "testbed.yaml"]) == 1
    assert "images/tern6.yaml:7:10 payload: there is no file tern6.bin beside the manifest" in (
        capsys.readouterr().out
    )
