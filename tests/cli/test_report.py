"""``qualify report``: the page of a train, written anew."""

from pathlib import Path

import pytest

from qualify.cli.main import main
from qualify.record.store import create_run, read_record, write_record

SAMPLE = Path(__file__).parent.parent / "record" / "data" / "format-1.json"


def test_the_report_is_written_and_its_place_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = create_run(tmp_path, train="5.2", started_ns=1_773_479_700_000_000_000)
    write_record(read_record(SAMPLE), folder)
    assert main(["report", "5.2", "--reports", str(tmp_path)]) == 0
    assert capsys.readouterr().out == f"report: {tmp_path}/5.2/report.html\n"
    assert "not qualified" in (tmp_path / "5.2" / "report.html").read_text(encoding="utf-8")


def test_a_train_without_runs_is_an_error_that_explains_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", "5.9", "--reports", str(tmp_path)]) == 2
    assert "there is no run of train '5.9'" in capsys.readouterr().err
