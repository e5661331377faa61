"""Events are on the disk, line by line, before the next thing happens."""

import json
from decimal import Decimal
from pathlib import Path

from qualify.clock import VirtualClock
from qualify.record.events import EventLog


def test_an_event_is_on_the_disk_before_the_log_is_closed(tmp_path: Path) -> None:
    file = tmp_path / "run" / "events.jsonl"
    clock = VirtualClock(1_000)
    log = EventLog(file, clock)
    log.write("run started", {"release": "5.2.0-rc3"})
    clock.sleep(2)
    log.write("counted", {"lost": 483, "outage_ms": Decimal("48.3"), "words": "two\nlines"})
    lines = file.read_text().splitlines()
    log.close()
    assert lines == [
        '{"at_ns": 1000, "event": "run started", "release": "5.2.0-rc3"}',
        '{"at_ns": 2000001000, "event": "counted", "lost": 483, "outage_ms": 48.3,'
        ' "words": "two\\nlines"}',
    ]


def test_a_log_is_continued_not_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "events.jsonl"
    for event in ("first", "second"):
        with EventLog(file, VirtualClock(0)) as log:
            log.write(event)
    events = [json.loads(line)["event"] for line in file.read_text().splitlines()]
    assert events == ["first", "second"]


def test_closing_twice_is_safe(tmp_path: Path) -> None:
    log = EventLog(tmp_path / "events.jsonl", VirtualClock(0))
    log.close()
    log.close()
