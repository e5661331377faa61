"""Pages: the decision first, nothing dressed up, and no word of a device taken for code."""

import re
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import TypeVar

import pytest

from qualify.errors import RecordError
from qualify.record.model import (
    DecisionWord,
    DoubtRecord,
    LeftOutRecord,
    Record,
    StreamRecord,
    TrialRecord,
)
from qualify.record.store import read_record
from qualify.report.page import agreement, lost_frames, render_index, render_train
from qualify.verdict.verdict import Outcome

RECORDS = Path(__file__).parent.parent / "record" / "data"
HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>"
_T = TypeVar("_T")


class Page(HTMLParser):
    """What a browser would see: tags with attributes, and text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.attributes: set[str] = set()
        self.open: list[str] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the tag; void elements are never closed."""
        self.handle_startendtag(tag, attrs)
        if tag not in {"meta", "br", "link", "img"}:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the tag and its attributes."""
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        self.links += [value or "" for name, value in attrs if name in {"href", "src"}]

    def handle_endtag(self, tag: str) -> None:
        """Close the tag that was opened last, and no other."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Keep what is shown."""
        if not self.open or self.open[-1] not in {"style", "title"}:
            self.text += f" {data}"


def shown(html: str) -> str:
    """The text of a page with all white space made one space."""
    return " ".join(Page(html).text.split())


def test_the_decision_and_its_reason_stand_at_the_top(bad_record: Record) -> None:
    text = shown(render_train([bad_record]))
    assert text.startswith(
        "Qualification report · train 5.2 Run 20260315T220000Z · 2026-03-15 22:00 UTC "
        "5.2.0-rc4 is not qualified for an upgrade in service from 5.1.0. "
        "mixed-one-tier, trial 2 failed: egp p5>p6 lost 613 of 600 000 frames"
    )


def test_what_did_not_pass_comes_before_everything_else(bad_record: Record) -> None:
    html = render_train([bad_record])
    headings = re.findall(r"<h2>(.*?)</h2>", html)
    assert headings == [
        "What did not pass",
        "What was tested",
        "Loss and outage",
        "Traffic in detail",
        "Routes",
        "Destinations that lost most",
        "Neighbors",
        "Devices under test",
        "Course of the trials",
        "Method and cautions",
        "Instrument",
    ]


def test_a_clean_run_has_nothing_to_say_about_failures(good_record: Record) -> None:
    html = render_train([good_record])
    assert "What did not pass" not in html
    assert "Destinations that lost most" not in html


def test_an_outage_stands_beside_its_bounds_its_budget_and_its_verdict(
    bad_record: Record,
) -> None:
    text = shown(render_train([bad_record]))
    assert (
        "egp, p5 → p6 mixed-one-tier, trial 2 600 000 613 61.3 ms 61.2 to 61.4 61.3 ms "
        "1 loss period 50.0 ms up to 123 % of the budget fail lost 613 of 600 000 frames: "
        "outage 61.3 ms (61.2 to 61.4 ms), budget 50.0 ms"
    ) in text


def test_no_loss_reads_with_its_bound(
    good_record: Record, good_trial: TrialRecord, clean_stream: StreamRecord
) -> None:
    trial = replace(good_trial, streams=(replace(clean_stream, outage_high_ns=5_000_000),))
    text = shown(render_train([replace(good_record, trials=(trial,))]))
    assert "600 000 0 no loss (< 5.0 ms) none 50.0 ms" in text


def test_a_mix_of_sizes_and_the_headers_of_a_path_are_described(good_record: Record) -> None:
    path = replace(good_record.testbed.paths[0], headers="ipv6", vlans=(200, 10))
    testbed = replace(good_record.testbed, paths=(path,))
    case = replace(good_record.cases[0], frame_octets=84, frame_sizes=(84, 1518))
    text = shown(render_train([replace(good_record, testbed=testbed, cases=(case,))]))
    assert "120 hosts on each side, IPv6 frames with VLAN tags 200 and 10" in text
    assert "10 000 frames/s 84 (1 in 2), 1 518 (1 in 2) octets" in text


def test_what_was_tested_is_described(good_record: Record) -> None:
    record = replace(good_record, left_out=(LeftOutRecord("three-tier", "1 tier here"),))
    text = shown(render_train([record]))
    for words in (
        "Release 5.2.0-rc3 Upgraded from 5.1.0 Maker and model Ostrevane Tern 6",
        "Testbed quay-one-tier, virtual, 1 tier",
        "L2, p1 and p2, 120 hosts on each side",
        "EGP, BGP, p5 and p6, 12 000 routes",
        "mixed-one-tier 3 of 3 simultaneous 10 000 frames/s 128 octets l2 50.0 ms",
        "0 flaps, 0 lost routes; graceful restarts allowed",
        "Not run on this testbed: three-tier (1 tier here).",
        "Kernel Linux 6.1.0-28-amd64",
    ):
        assert words in text


def test_the_method_and_its_limits_are_printed(good_record: Record) -> None:
    text = shown(render_train([good_record]))
    assert (
        "Method: frame-loss method after RFC 6201 §1.3 and loss of connectivity after "
        "RFC 6412 §3.5, applied to a software upgrade, which is outside the scope of both "
        "documents."
    ) in text
    assert "(RFC 6815)" in text
    assert "Local rules come first." in text


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("simulated", "Simulated bench. No frame was sent."),
        ("virtual", "Virtual bench. Real frames and real routing protocols"),
    ],
)
def test_a_bench_that_is_not_physical_says_so(good_record: Record, kind: str, words: str) -> None:
    record = replace(good_record, testbed=replace(good_record.testbed, kind=kind))
    assert words in shown(render_train([record]))


def test_a_physical_bench_needs_no_excuse(good_record: Record) -> None:
    record = replace(good_record, testbed=replace(good_record.testbed, kind="physical"))
    assert 'class="bench"' not in render_train([record])


def test_an_interrupted_run_reads_as_interrupted_and_not_as_passed(good_record: Record) -> None:
    text = shown(render_train([replace(good_record, finished=None)]))
    assert "This run was interrupted, or is still going on." in text
    assert "5.2.0-rc3 is not proven fit for an upgrade" in text
    assert "5.2.0-rc3 is qualified" not in text
    assert "Finished never" in text


def test_earlier_runs_are_listed_latest_first(good_record: Record, bad_record: Record) -> None:
    broken = replace(
        good_record,
        finished=None,
        verdict=DecisionWord.NOT_PROVEN,
        reason="interrupted after 1 of 3 trials",
        started=datetime(2026, 3, 13, 1, tzinfo=UTC),
    )
    text = shown(render_train([broken, good_record, bad_record]))
    assert text.index("2026-03-14 09:15 UTC 5.2.0-rc3 5.1.0 quay-one-tier 3 qualified") < (
        text.index("2026-03-13 01:00 UTC 5.2.0-rc3 5.1.0 quay-one-tier 3 not proven, interrupted")
    )


def test_unknown_figures_are_dashes(good_record: Record, good_trial: TrialRecord) -> None:
    trial = replace(
        good_trial,
        duts=(replace(good_trial.duts[0], upgrade_ns=None, dropped_frames=None),),
        routes=(replace(good_trial.routes[0], lowest=None, routes_with_loss=None, after=None),),
    )
    trial = replace(trial, routes=(replace(trial.routes[0], worst_outage_ns=None),))
    text = shown(render_train([replace(good_record, trials=(trial,))]))
    assert "5.1.0 5.2.0-rc3 never finished — 0 pass" in text
    assert "1 500 1 500 — — — — pass" in text
    assert "0 1 not watched 40.0 s pass" in text


def test_what_the_tester_did_stands_below_the_stream_that_it_touched(
    good_record: Record, good_trial: TrialRecord
) -> None:
    assert "Tester:" not in shown(render_train([good_record]))
    doubt = DoubtRecord("ring-drops", 7, None, f"the ring dropped {HOSTILE}")
    stream = replace(good_trial.streams[0], doubts=(doubt,))
    trial = replace(good_trial, streams=(stream, *good_trial.streams[1:]))
    html = render_train([replace(good_record, trials=(trial,))])
    assert f"Tester: the ring dropped {HOSTILE}." in shown(html)
    assert HOSTILE not in html


def test_a_silence_that_was_watched_stands_beside_the_hold_time(
    good_record: Record, good_trial: TrialRecord
) -> None:
    watched = replace(good_trial.neighbors[0], longest_silence_ns=8_210_000_000)
    record = replace(good_record, trials=(replace(good_trial, neighbors=(watched,)),))
    assert "0 1 8.3 s 40.0 s pass" in shown(render_train([record]))


def test_a_trial_that_broke_off_says_why(good_record: Record, good_trial: TrialRecord) -> None:
    trial = replace(
        good_trial,
        verdict=Outcome.ERROR,
        reason="the bench was not fit",
        problem="d1 did not answer",
        streams=(),
        routes=(),
        neighbors=(),
        duts=(),
        phases=(),
    )
    text = shown(render_train([replace(good_record, trials=(trial,))]))
    assert (
        "mixed-one-tier, trial 1: error the bench was not fit The bench broke off: d1 did" in text
    )
    assert "No stream was measured in this run." in text
    assert "No phase was reached." in text


def test_a_record_with_the_essential_keys_alone_can_be_reported() -> None:
    text = shown(render_train([read_record(RECORDS / "format-1-essential.json")]))
    assert "5.2.0-rc2 is not proven fit for an upgrade in service from 5.1.0." in text
    assert "not judged" in text


@pytest.mark.parametrize(
    ("dropped", "lost", "words"),
    [
        ([613], 613, "both counted 613"),
        ([300, 313], 613, "both counted 613"),
        ([615], 613, "the devices counted 2 more"),
        ([0], 613, "the tester counted 613 more"),
        ([613, None], 613, None),
        ([], 613, None),
    ],
)
def test_the_device_and_the_tester_are_compared(
    good_trial: TrialRecord,
    lossy_stream: StreamRecord,
    dropped: list[int | None],
    lost: int,
    words: str | None,
) -> None:
    duts = tuple(replace(good_trial.duts[0], dropped_frames=count) for count in dropped)
    trial = replace(good_trial, duts=duts, streams=(replace(lossy_stream, lost=lost),))
    assert agreement(trial) == words


def test_without_streams_there_is_nothing_to_compare(good_trial: TrialRecord) -> None:
    assert agreement(replace(good_trial, streams=())) is None
    assert lost_frames(replace(good_trial, streams=())) is None


def test_the_index_lists_every_train_with_its_latest_decision(
    good_record: Record, bad_record: Record
) -> None:
    html = render_index([good_record, replace(bad_record, train="5.3"), bad_record])
    text = shown(html)
    assert "2 trains" in text
    assert "5.2 5.2.0-rc4 5.1.0 2026-03-15 22:00 UTC 2 not qualified" in text
    assert "5.3 5.2.0-rc4 5.1.0 2026-03-15 22:00 UTC 1 not qualified" in text
    assert [link for link in Page(html).links if not link.startswith("#")] == [
        "./5.2/report.html",
        "./5.3/report.html",
    ]


def test_an_index_of_nothing_says_so() -> None:
    assert "No run has been recorded here yet." in shown(render_index([]))


def test_records_that_cannot_be_read_are_told(good_record: Record) -> None:
    error = RecordError("key 'lost' is missing", fix="restore it", where="5.2/runs/a/record.json")
    for html in (
        render_train([good_record], unreadable=[error]),
        render_index([good_record], unreadable=[error]),
    ):
        text = shown(html)
        assert "5.2/runs/a/record.json key 'lost' is missing. To mend it: restore it." in text


def poisoned(value: _T, poison: str) -> _T:
    """The same record with poison behind every text in it."""
    if isinstance(value, (Outcome, DecisionWord)):
        return value
    if isinstance(value, str):
        return f"{value}{poison}"  # type: ignore[return-value]
    if isinstance(value, tuple):
        return tuple(poisoned(part, poison) for part in value)  # type: ignore[return-value]
    if isinstance(value, dict):
        return {f"{key}{poison}": poisoned(part, poison) for key, part in value.items()}  # type: ignore[return-value]
    if is_dataclass(value) and not isinstance(value, type):
        changed = {
            field.name: poisoned(getattr(value, field.name), poison) for field in fields(value)
        }
        return replace(value, **changed)
    return value


def test_hostile_text_is_inert_wherever_it_stands(good_record: Record, bad_record: Record) -> None:
    error = RecordError(f"bad{HOSTILE}", fix=f"none{HOSTILE}", where=f"x{HOSTILE}")
    records = [poisoned(good_record, HOSTILE), poisoned(bad_record, HOSTILE)]
    for html in (
        render_train(records, unreadable=[error]),
        render_index(records, unreadable=[error]),
    ):
        page = Page(html)
        assert "<script" not in html
        assert not {"script", "img", "iframe", "object"} & set(page.tags)
        assert not [name for name in page.attributes if name.startswith("on")]
        assert "<script>alert('x')</script>" in page.text


def test_a_train_with_a_hostile_name_is_still_a_relative_link(good_record: Record) -> None:
    html = render_index([replace(good_record, train="javascript:alert(1)//../x")])
    assert "./javascript%3Aalert%281%29%2F%2F..%2Fx/report.html" in Page(html).links


def test_pages_need_neither_network_nor_script(good_record: Record, bad_record: Record) -> None:
    for html in (render_train([good_record, bad_record]), render_index([good_record])):
        page = Page(html)
        assert "script" not in page.tags
        assert "link" not in page.tags
        assert all(link.startswith(("#", "./")) for link in page.links)
        assert "http" not in html
        assert "url(#hatch)" in html
        assert html.count("url(") == 1
        assert page.open == []


def test_a_page_is_readable_on_a_phone_in_print_and_in_the_dark(good_record: Record) -> None:
    html = render_train([good_record])
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in html
    assert "@media print" in html
    assert "prefers-color-scheme: dark" in html


def luminance(colour: str) -> float:
    """Relative luminance after WCAG 2.1."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_every_ink_has_enough_contrast_on_its_paper(good_record: Record) -> None:
    palettes = re.findall(r":root \{(.*?)\}", render_train([good_record]), flags=re.DOTALL)
    assert len(palettes) == 3
    for palette in palettes:
        colours = dict(re.findall(r"--(\w+): (#\w{6}|#\w{3});", palette))
        full = {
            name: c if len(c) == 7 else "#" + "".join(2 * digit for digit in c[1:])
            for name, c in colours.items()
        }
        for ink in ("ink", "faint", "accent"):
            low, high = sorted((luminance(full["paper"]), luminance(full[ink])))
            assert (high + 0.05) / (low + 0.05) >= 4.5, (ink, full)
