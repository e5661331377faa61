"""``qualify lab`` on a machine where no lab is up."""

from pathlib import Path

import pytest

from qualify.cli import lab
from qualify.cli.main import main
from qualify.lab.fetch import Fetched

TESTBEDS = Path(__file__).parents[2] / "testbeds"


@pytest.fixture(autouse=True)
def own_runtime_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the labs of other tests out of sight."""
    monkeypatch.setenv("QUALIFY_RUNTIME_DIR", str(tmp_path / "labs"))


def test_status_says_that_no_lab_is_up(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lab", "status"]) == 0
    assert capsys.readouterr().out == "no lab is up\n"


def test_down_and_enter_need_a_lab_that_is_up(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["down"], ["enter", "d1", "--", "ls"]):
        assert main(["lab", *words]) == 2
        assert capsys.readouterr().err == "no lab is up\n  fix: start one: qualify lab up TESTBED\n"


def test_the_lab_of_a_named_testbed_is_looked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lab", "down", "--testbed", "quay"]) == 2
    assert capsys.readouterr().err.startswith("no lab of testbed quay is up\n")


def test_only_a_virtual_testbed_has_a_lab(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lab", "up", str(TESTBEDS / "simulated-one-tier.yaml")]) == 2
    assert "is simulated, and only a virtual one has a lab\n" in capsys.readouterr().err


def test_an_action_is_required(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["lab"])
    assert "required: ACTION" in capsys.readouterr().err


def test_fetch_lists_what_it_unpacked(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lab, "fetch_programs", lambda _: Fetched(("frr_8", "bird2_2"), Path("/x")))

    assert main(["lab", "fetch"]) == 0
    assert capsys.readouterr().out == "unpacked into /x, nothing installed:\n  frr_8\n  bird2_2\n"
