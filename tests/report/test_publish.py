"""Reports are written beside the runs of their train, whole, and again whenever wanted."""

from dataclasses import replace
from pathlib import Path

import pytest

from qualify.errors import RecordError
from qualify.record.model import Record
from qualify.record.store import create_run, write_record
from qualify.report.publish import write_reports

START_NS = 1_773_479_700_000_000_000


def keep(record: Record, reports: Path, train: str = "5.2") -> None:
    folder = create_run(reports, train=train, started_ns=START_NS)
    write_record(replace(record, run=folder.run, train=train), folder)


def test_the_report_of_a_train_and_the_index_are_written(
    tmp_path: Path, good_record: Record, bad_record: Record
) -> None:
    keep(bad_record, tmp_path)
    keep(good_record, tmp_path)
    keep(good_record, tmp_path, train="5.3")
    report = write_reports(tmp_path, "5.2")
    assert report == tmp_path / "5.2" / "report.html"
    text = report.read_text(encoding="utf-8")
    assert "5.2.0-rc4 is not qualified" in text
    assert "Earlier runs of this train" in text
    index = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert 'href="./5.2/report.html"' in index
    assert 'href="./5.3/report.html"' in index
    assert not (tmp_path / "5.3" / "report.html").exists()


def test_a_run_that_cannot_be_read_is_told_on_the_page_of_its_train_only(
    tmp_path: Path, good_record: Record
) -> None:
    keep(good_record, tmp_path, train="5.2")
    keep(good_record, tmp_path, train="5.3")
    killed = create_run(tmp_path, train="5.3", started_ns=START_NS)
    other = write_reports(tmp_path, "5.2").read_text(encoding="utf-8")
    own = write_reports(tmp_path, "5.3").read_text(encoding="utf-8")
    assert str(killed.record_file) in own
    assert "the run left no record" in own
    assert str(killed.record_file) not in other
    assert str(killed.record_file) in (tmp_path / "index.html").read_text(encoding="utf-8")


def test_an_unknown_train_names_the_known_ones(tmp_path: Path, good_record: Record) -> None:
    keep(good_record, tmp_path, train="5.2")
    keep(good_record, tmp_path, train="5.3")
    with pytest.raises(
        RecordError, match=r"there is no run of train '5\.4'\n  fix: name one of: 5\.2, 5\.3; or"
    ):
        write_reports(tmp_path, "5.4")


def test_an_empty_folder_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="fix: qualify a release first"):
        write_reports(tmp_path, "5.4")


def test_a_train_of_which_nothing_can_be_read_says_why(tmp_path: Path) -> None:
    torn = create_run(tmp_path, train="5.2", started_ns=START_NS)
    torn.record_file.write_text("{")
    with pytest.raises(RecordError, match=r"record\.json: this is not a whole JSON file"):
        write_reports(tmp_path, "5.2")


def test_a_train_cannot_lead_out_of_the_folder(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="cannot be the name of a folder"):
        write_reports(tmp_path, "../elsewhere")
