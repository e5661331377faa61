"""Where records are kept: ``<reports>/<train>/runs/<run>/record.json``."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from qualify.errors import RecordError
from qualify.record.codec import decode, encode
from qualify.record.files import replace_file
from qualify.record.format import RECORD_FORMAT
from qualify.record.json_text import Json, read_json, write_json
from qualify.record.model import Record
from qualify.record.place import Place
from qualify.units import NS_PER_S

RECORD_FILE = "record.json"
EVENTS_FILE = "events.jsonl"
_RUNS = "runs"


@dataclass(frozen=True, slots=True)
class RunFolder:
    """The folder of one run; its name is the name of the run."""

    path: Path

    @property
    def run(self) -> str:
        """The name of the run."""
        return self.path.name

    @property
    def record_file(self) -> Path:
        """Where the record stands."""
        return self.path / RECORD_FILE

    @property
    def events_file(self) -> Path:
        """Where the events stand."""
        return self.path / EVENTS_FILE


@dataclass(frozen=True, slots=True)
class Shelf:
    """All records that were found, oldest first, and a complaint for each that cannot be read."""

    records: tuple[Record, ...]
    unreadable: tuple[RecordError, ...]


def train_folder(reports: Path, train: str) -> Path:
    """Return the folder of a train.

    Raises:
        RecordError: the train's name would lead out of the reports folder.
    """
    if not train or train.startswith(".") or "/" in train or "\0" in train:
        raise RecordError(
            f"train '{train}' cannot be the name of a folder",
            fix="name the train without slashes and without a dot in front, e.g. '5.2'",
            where=str(reports),
        )
    return reports / train


def create_run(reports: Path, *, train: str, started_ns: int) -> RunFolder:
    """Make the folder of a new run, named after its start: ``20260314T091500Z``.

    A run that starts within the same second as another gets ``-2`` behind its name.

    Raises:
        RecordError: the train's name would lead out of the reports folder.
    """
    runs = train_folder(reports, train) / _RUNS
    runs.mkdir(parents=True, exist_ok=True)
    started = datetime.fromtimestamp(started_ns // NS_PER_S, tz=UTC)
    name = started.strftime("%Y%m%dT%H%M%SZ")
    number = 1
    while True:
        folder = runs / (name if number == 1 else f"{name}-{number}")
        try:
            folder.mkdir()
        except FileExistsError:
            number += 1
        else:
            return RunFolder(folder)


def write_record(record: Record, folder: RunFolder) -> None:
    """Write ``record.json``, whole or not at all."""
    content: dict[str, Json] = {"format": RECORD_FORMAT, **encode(record)}
    replace_file(folder.record_file, write_json(content) + "\n")


def read_record(file: Path) -> Record:
    """Read a record of any format that was ever written.

    Raises:
        RecordError: it is missing, truncated, of an unknown format, or lacks an essential key.
    """
    place = Place(str(file))
    try:
        content = read_json(file.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise RecordError(
            "the run left no record",
            fix=f"its {EVENTS_FILE} holds what was measured; run it again",
            where=str(file),
        ) from error
    except (OSError, ValueError, RecursionError) as error:
        raise place.complain(f"this is not a whole JSON file ({error})") from error
    if isinstance(content, dict):
        _check_format(content, place)
    return decode(Record, content, place)


def read_records(reports: Path) -> Shelf:
    """Read every record under a reports folder; what cannot be read is told, not fatal."""
    records: list[Record] = []
    unreadable: list[RecordError] = []
    for folder in sorted(reports.glob(f"*/{_RUNS}/*/")):
        try:
            records.append(read_record(folder / RECORD_FILE))
        except RecordError as error:
            unreadable.append(error)
    records.sort(key=lambda record: (record.started, record.run))
    return Shelf(tuple(records), tuple(unreadable))


def _check_format(content: dict[str, Json], place: Place) -> None:
    if "format" not in content:
        raise place.complain("key 'format' is missing")
    if content["format"] != RECORD_FORMAT or isinstance(content["format"], bool):
        raise RecordError(
            f"format {content['format']} is not known; this version reads up to {RECORD_FORMAT}",
            fix="read it with the version of qualify that wrote it, or a newer one",
            where=f"{place.file} format",
        )
