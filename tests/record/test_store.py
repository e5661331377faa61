"""Records on the disk: whole, found again, and refused with the file and the key named."""

from dataclasses import replace
from pathlib import Path

import pytest

from qualify.errors import RecordError
from qualify.record.model import DecisionWord, Record
from qualify.record.store import (
    create_run,
    read_record,
    read_records,
    train_folder,
    write_record,
)
from qualify.verdict.verdict import Outcome

DATA = Path(__file__).parent / "data"
START_NS = 1_773_479_700_000_000_000  # 2026-03-14 09:15:00 UTC


@pytest.fixture
def sample() -> Record:
    return read_record(DATA / "format-1.json")


def test_a_record_of_format_1_stays_readable(sample: Record) -> None:
    assert sample.started.isoformat() == "2026-03-14T09:15:00+00:00"
    assert sample.verdict is DecisionWord.NOT_QUALIFIED
    assert sample.image is not None
    assert sample.image.model == "Tern 6"
    trial = sample.trials[0]
    assert trial.verdict is Outcome.FAIL
    assert trial.duts[0].upgrade_ns == 12_345_678_901
    l2, egp = trial.streams
    assert (l2.outage_ns, l2.outage_high_ns, l2.budget_ns) == (0, 100_001, 50_000_000)
    assert l2.offered_pps == 9999.812
    assert (egp.outage_low_ns, egp.outage_ns, egp.outage_high_ns) == (
        61_200_000,
        61_300_000,
        61_400_000,
    )
    assert egp.budget_ns == 50_000_000
    assert egp.worst_destinations[0].name == "198.19.65.4/30"
    assert trial.routes[0].lowest is None
    assert trial.neighbors[0].hold_ns == 90_000_000_000
    assert sample.left_out[0].case == "mixed-two-tier"


def test_the_essential_keys_of_format_1_are_enough() -> None:
    record = read_record(DATA / "format-1-essential.json")
    assert record.finished is None
    assert record.started.isoformat() == "2026-03-14T09:15:00+00:00"
    assert record.trials[0].duts[0].upgrade_ns is None
    assert record.trials[0].routes[0].verdict is None
    assert record.trials[0].neighbors[0].longest_silence_ns == 250_000


def test_a_record_is_kept_where_the_contract_says(tmp_path: Path, sample: Record) -> None:
    folder = create_run(tmp_path, train="5.2", started_ns=START_NS)
    write_record(sample, folder)
    file = tmp_path / "5.2" / "runs" / "20260314T091500Z" / "record.json"
    assert file == folder.record_file
    assert folder.events_file == file.with_name("events.jsonl")
    assert read_record(file) == sample
    assert [entry.name for entry in folder.path.iterdir()] == ["record.json"]
    assert file.read_text().startswith('{\n  "format": 1,\n  "run": "20260314T091500Z",\n')


def test_two_runs_in_one_second_do_not_share_a_folder(tmp_path: Path) -> None:
    names = [create_run(tmp_path, train="5.2", started_ns=START_NS).run for _ in range(3)]
    assert names == ["20260314T091500Z", "20260314T091500Z-2", "20260314T091500Z-3"]


@pytest.mark.parametrize("train", ["", "..", ".hidden", "../up", "a/b", "/etc", "a\0b"])
def test_a_train_cannot_lead_out_of_the_reports_folder(tmp_path: Path, train: str) -> None:
    with pytest.raises(RecordError, match="cannot be the name of a folder"):
        train_folder(tmp_path, train)


def test_a_rewritten_record_replaces_the_old_one(tmp_path: Path, sample: Record) -> None:
    folder = create_run(tmp_path, train="5.2", started_ns=START_NS)
    write_record(replace(sample, finished=None), folder)
    write_record(sample, folder)
    assert read_record(folder.record_file).finished == sample.finished


def test_what_cannot_be_written_leaves_the_old_record(tmp_path: Path, sample: Record) -> None:
    folder = create_run(tmp_path, train="5.2", started_ns=START_NS)
    write_record(sample, folder)
    before = folder.record_file.read_bytes()
    (folder.path / "record.json").chmod(0o444)
    broken = replace(sample, reason=object())  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="a record has no place for object"):
        write_record(broken, folder)
    assert folder.record_file.read_bytes() == before


def edited(tmp_path: Path, old: str, new: str) -> Path:
    text = (DATA / "format-1.json").read_text()
    assert old in text
    file = tmp_path / "record.json"
    file.write_text(text.replace(old, new, 1))
    return file


def test_an_unknown_format_is_refused(tmp_path: Path) -> None:
    file = edited(tmp_path, '"format": 1', '"format": 7')
    with pytest.raises(
        RecordError,
        match=r"record\.json format: format 7 is not known; this version reads up to 1\n"
        r"  fix: read it with the version of qualify that wrote it",
    ):
        read_record(file)


@pytest.mark.parametrize("word", ["true", "null", '"1"', "1.5"])
def test_a_format_that_is_no_number_is_refused(tmp_path: Path, word: str) -> None:
    with pytest.raises(RecordError, match="is not known"):
        read_record(edited(tmp_path, '"format": 1', f'"format": {word}'))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"format": 1,', "", r"record\.json: key 'format' is missing"),
        ('"verdict": "not qualified",', "", r"record\.json: key 'verdict' is missing"),
        ('"lost": 613, "dup', '"dup', r"json trials\[0\]\.streams\[1\]: key 'lost' is missing"),
        ('"not qualified"', '"passed"', "verdict: expected one of: qualified, not qualified, not"),
    ],
)
def test_a_missing_or_wrong_key_is_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(RecordError, match=message):
        read_record(edited(tmp_path, old, new))


@pytest.mark.parametrize("octets", [0, 1, 700, 5000])
def test_a_truncated_record_is_refused(tmp_path: Path, octets: int) -> None:
    file = tmp_path / "record.json"
    file.write_bytes((DATA / "format-1.json").read_bytes()[:octets])
    with pytest.raises(RecordError, match=r"record\.json: this is not a whole JSON file"):
        read_record(file)


@pytest.mark.parametrize("text", ["[" * 100_000, "\ufffe", '"text"', "[]"])
def test_other_content_is_refused(tmp_path: Path, text: str) -> None:
    file = tmp_path / "record.json"
    file.write_text(text)
    with pytest.raises(RecordError, match=r"not a whole JSON file|expected an object"):
        read_record(file)


def test_a_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "record.json"
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RecordError, match="not a whole JSON file"):
        read_record(file)


def test_a_run_without_a_record_points_to_its_events(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match=r"the run left no record\n  fix: its events\.jsonl"):
        read_record(tmp_path / "record.json")


def test_records_are_listed_oldest_first_and_bad_ones_are_told(
    tmp_path: Path, sample: Record
) -> None:
    late = create_run(tmp_path, train="5.2", started_ns=START_NS)
    early = create_run(tmp_path, train="5.1", started_ns=START_NS + 1_000_000_000)
    killed = create_run(tmp_path, train="5.2", started_ns=START_NS + 2_000_000_000)
    torn = create_run(tmp_path, train="5.3", started_ns=START_NS)
    write_record(replace(sample, run="late"), late)
    write_record(replace(sample, run="early", started=sample.started.replace(hour=3)), early)
    torn.record_file.write_text('{"format": 1, ')
    shelf = read_records(tmp_path)
    assert [record.run for record in shelf.records] == ["early", "late"]
    assert [error.where for error in shelf.unreadable] == [
        str(killed.record_file),
        str(torn.record_file),
    ]


def test_an_empty_reports_folder_has_no_records(tmp_path: Path) -> None:
    assert read_records(tmp_path / "nothing").records == ()
