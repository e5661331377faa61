"""Writes the pages: the report of a train beside its runs, and the list of trains above them."""

from pathlib import Path

from qualify.errors import RecordError
from qualify.record.files import replace_file
from qualify.record.model import Record
from qualify.record.store import read_records, train_folder
from qualify.report.page import REPORT_FILE, render_index, render_train

INDEX_FILE = "index.html"


def write_reports(reports: Path, train: str) -> Path:
    """Write ``<reports>/<train>/report.html`` and ``<reports>/index.html`` anew.

    Returns:
        The report of the train.

    Raises:
        RecordError: there is no readable record of that train.
    """
    folder = train_folder(reports, train)
    shelf = read_records(reports)
    records = [record for record in shelf.records if record.train == train]
    unreadable = [error for error in shelf.unreadable if error.where.startswith(f"{folder}/")]
    if not records:
        raise unreadable[0] if unreadable else _no_such_train(reports, train, shelf.records)
    report = folder / REPORT_FILE
    replace_file(report, render_train(records, unreadable=unreadable))
    replace_file(reports / INDEX_FILE, render_index(shelf.records, unreadable=shelf.unreadable))
    return report


def _no_such_train(reports: Path, train: str, records: tuple[Record, ...]) -> RecordError:
    trains = ", ".join(sorted({record.train for record in records}))
    known = f"name one of: {trains}" if trains else "qualify a release first"
    return RecordError(
        f"there is no run of train '{train}'",
        fix=f"{known}; or give another folder with --reports",
        where=str(reports),
    )
