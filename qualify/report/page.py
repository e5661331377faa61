"""From records to the pages that people read: the report of a train, and the list of trains."""

from collections.abc import Sequence
from functools import cache
from itertools import groupby
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined

from qualify.errors import RecordError
from qualify.record.model import Record, TrialRecord
from qualify.report import words
from qualify.report.drawing import FULL, draw_outage, draw_phases
from qualify.report.findings import (
    find_failures,
    group_streams,
    order_neighbors,
    order_routes,
    trial_name,
)
from qualify.verdict.verdict import Outcome

REPORT_FILE = "report.html"
_LISTED_DESTINATIONS = 5


def render_train(records: Sequence[Record], *, unreadable: Sequence[RecordError] = ()) -> str:
    """Render the report of a train: its latest run in full, the earlier ones as a list.

    Args:
        records: the runs of one train, oldest first; at least one.
        unreadable: what is to be said about runs that could not be read.
    """
    *earlier, latest = records
    return (
        _pages()
        .get_template("train.html")
        .render(
            record=latest,
            earlier=tuple(reversed(earlier)),
            unreadable=unreadable,
            failures=find_failures(latest),
            groups=group_streams(latest),
            routes_rows=order_routes(latest),
            neighbor_rows=order_neighbors(latest),
            passed_trials=_count_passed(latest),
            listed_destinations=_LISTED_DESTINATIONS,
        )
    )


def render_index(records: Sequence[Record], *, unreadable: Sequence[RecordError] = ()) -> str:
    """Render the list of trains, each with the decision of its latest run.

    Args:
        records: the runs of all trains, oldest first.
        unreadable: what is to be said about runs that could not be read.
    """
    by_train = groupby(sorted(records, key=_train), key=_train)
    trains = [tuple(runs) for _, runs in by_train]
    return _pages().get_template("index.html").render(trains=trains, unreadable=unreadable)


def agreement(trial: TrialRecord) -> str | None:
    """Compare the devices' own count of dropped frames with what the tester missed.

    ``None`` when one of the devices cannot count.
    """
    dropped = [dut.dropped_frames for dut in trial.duts]
    known = [count for count in dropped if count is not None]
    if not dropped or len(known) < len(dropped) or not trial.streams:
        return None
    devices, tester = sum(known), sum(stream.lost for stream in trial.streams)
    if devices == tester:
        return f"both counted {words.count_words(tester)}"
    more = "devices" if devices > tester else "tester"
    return f"the {more} counted {words.count_words(abs(devices - tester))} more"


def lost_frames(trial: TrialRecord) -> int | None:
    """Sum up what the tester missed in a trial; ``None`` when no stream was measured."""
    return sum(stream.lost for stream in trial.streams) if trial.streams else None


@cache
def _pages() -> Environment:
    pages = Environment(
        loader=PackageLoader("qualify.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    pages.filters.update(
        agreement=agreement,
        arrow=words.direction_words,
        bounds=words.bounds_words,
        budget=words.budget_words,
        count=words.count_words,
        decision=words.decision_of,
        doubts=words.doubts_words,
        draw_outage=draw_outage,
        draw_phases=draw_phases,
        frames=words.frames_words,
        lost_frames=lost_frames,
        moment=words.moment_words,
        ms=words.ms_words,
        outage=words.outage_words,
        rate=words.rate_words,
        report_link=_report_link,
        seconds=words.seconds_words,
        sentence=words.decision_sentence,
        share=words.share_words,
        sizes=words.sizes_words,
        trial_name=trial_name,
    )
    pages.globals.update(full=FULL)
    return pages


def _train(record: Record) -> str:
    return record.train


def _count_passed(record: Record) -> dict[str, int]:
    return {
        case.case: sum(
            trial.case == case.case and trial.verdict is Outcome.PASS for trial in record.trials
        )
        for case in record.cases
    }


def _report_link(train: str) -> str:
    return f"./{quote(train, safe='')}/{REPORT_FILE}"
