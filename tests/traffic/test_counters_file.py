"""A file of counts is read strictly: what it does not hold is unknown, what it holds must fit."""

from pathlib import Path

import pytest

from qualify.errors import TrafficError
from qualify.testbed.testbed import Column, CountersFile
from qualify.traffic.counters_file import CountsRow, read_counts

NAMES = {Column.STREAM: "Flow", Column.SENT: "Tx", Column.RECEIVED: "Rx"}
ALL = {**NAMES, **{column: column.value for column in list(Column)[3:]}}


def counts(
    folder: Path, text: str, *, name: str = "counts.csv", columns: dict[Column, str] | None = None
) -> dict[str, CountsRow]:
    file = folder / name
    file.write_text(text, encoding="utf-8")
    return read_counts(CountersFile(file, columns or NAMES))


def test_columns_are_found_by_the_names_that_the_testbed_gives(tmp_path: Path) -> None:
    text = "Rx,Tx,Port,Flow\n990,1000,7,egp p5>p6\n5, 6 ,8, egp p6>p5 \n"

    rows = counts(tmp_path, text)

    assert rows == {
        "egp p5>p6": CountsRow(1_000, 990, None, None, None, None, None, None),
        "egp p6>p5": CountsRow(6, 5, None, None, None, None, None, None),
    }


def test_all_that_a_generator_can_tell_is_read_and_empty_is_unknown(tmp_path: Path) -> None:
    text = (
        "Flow,Tx,Rx,lost,duplicate,reordered,loss_periods,tester_dropped,longest_stall_ms\n"
        "a,1000,990,10,0,3,2,,0.0000015\n"
    )

    rows = counts(tmp_path, text, columns=ALL)

    # A stall is rounded up to the next nanosecond.
    assert rows["a"] == CountsRow(1_000, 990, 10, 0, 3, 2, None, 2)


def test_json_is_a_list_of_objects(tmp_path: Path) -> None:
    text = '[{"Flow": "a", "Tx": 10, "Rx": "9"}, {"Flow": "b", "Tx": 1, "Rx": 1}]'

    rows = counts(tmp_path, text, name="counts.json")

    assert [(name, row.sent, row.received) for name, row in rows.items()] == [
        ("a", 10, 9),
        ("b", 1, 1),
    ]


def test_json_null_is_unknown(tmp_path: Path) -> None:
    text = '[{"Flow": "a", "Tx": 10, "Rx": 9, "dup": null, "stall": 1.5}]'
    columns = {**NAMES, Column.DUPLICATE: "dup", Column.LONGEST_STALL_MS: "stall"}

    rows = counts(tmp_path, text, name="counts.json", columns=columns)

    assert (rows["a"].duplicate, rows["a"].longest_stall_ns) == (None, 1_500_000)


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("c.csv", "Flow,Tx\na,1\n", r"c.csv:2: there is no column 'Rx'\n  fix: mend tester.count"),
        ("c.csv", "Flow,Tx,Rx\na,1,\n", r"c.csv:2: sent or received is missing\n  fix: write both"),
        ("c.csv", "Flow,Tx,Rx\n,1,1\n", r"c.csv:2: a stream has no name\n  fix: write its path"),
        ("c.csv", "Flow,Tx,Rx\na,1,1\na,1,1\n", r"c.csv:3: stream a stands here twice\n  fix: del"),
        ("c.csv", "Flow,Tx,Rx\na,1e3,1\n", r"c.csv:2: '1e3' is no number of frames \(sent\)\n"),
        ("c.csv", "Flow,Tx,Rx\na,-1,1\n", r"c.csv:2: '-1' is no number of frames \(sent\)\n"),
        ("c.csv", 'Flow,Tx,Rx\na,1,"' + "x" * 200_000, r"c.csv: this is no CSV: field larger"),
        ("c.json", "{", r"c.json: this is no JSON: Expecting"),
        ("c.json", "[" * 100_000, r"c.json: this is no JSON: "),
        ("c.json", '{"Flow": "a"}', r"c.json: this is no list of objects\n  fix: write one object"),
        ("c.json", '[{"Flow": 7, "Tx": 1, "Rx": 1}]', r"c.json \[0\]: a stream has no name\n"),
        ("c.json", '[{"Flow": "a", "Tx": true, "Rx": 1}]', r"\[0\]: 'True' is no number of fra"),
        ("c.json", '[{"Flow": "a", "Tx": 1.5, "Rx": 1}]', r"\[0\]: '1.5' is no number of frames"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(
    tmp_path: Path, name: str, text: str, message: str
) -> None:
    with pytest.raises(TrafficError, match=message):
        counts(tmp_path, text, name=name)


@pytest.mark.parametrize("stall", ["soon", "-1", "NaN", "Infinity", "1e999999999"])
def test_a_stall_is_a_time_in_milliseconds(tmp_path: Path, stall: str) -> None:
    columns = {**NAMES, Column.LONGEST_STALL_MS: "Stall"}

    with pytest.raises(TrafficError, match=rf"'{stall}' is no time in milliseconds\n  fix: write"):
        counts(tmp_path, f"Flow,Tx,Rx,Stall\na,1,1,{stall}\n", columns=columns)


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    with pytest.raises(TrafficError, match=r"the counts cannot be read: .*No such file"):
        read_counts(CountersFile(tmp_path / "none.csv", NAMES))
    (tmp_path / "binary.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(TrafficError, match=r"the counts cannot be read: 'utf-8' codec"):
        read_counts(CountersFile(tmp_path / "binary.csv", NAMES))
    with (tmp_path / "huge.csv").open("wb") as huge:
        huge.truncate(10_000_001)
    with pytest.raises(TrafficError, match=r"huge.csv: the file of counts is too large\n"):
        read_counts(CountersFile(tmp_path / "huge.csv", NAMES))
