"""The table on the terminal: aligned, a hundred columns wide, and the decision last."""

from dataclasses import replace

from qualify.record.model import LeftOutRecord, Record, StreamRecord, TrialRecord
from qualify.report.table import verdict_table
from qualify.verdict.verdict import Outcome


def test_every_stream_is_a_line_and_the_decision_is_the_last(
    good_record: Record,
    good_trial: TrialRecord,
    clean_stream: StreamRecord,
    lossy_stream: StreamRecord,
) -> None:
    trial = replace(
        good_trial,
        verdict=Outcome.FAIL,
        reason="egp p5>p6: lost 613 of 600 000 frames",
        streams=(clean_stream, lossy_stream),
    )
    record = replace(
        good_record, trials=(trial,), left_out=(LeftOutRecord("three-tier", "1 tier here"),)
    )
    assert verdict_table(record) == [
        "case/trial        path  direction     sent  lost                  outage   budget"
        "  verdict",
        "-" * 90,
        "mixed-one-tier/1  l2    p1>p2      600 000     0      no loss (< 0.1 ms)  50.0 ms  pass",
        "mixed-one-tier/1  egp   p5>p6      600 000   613  61.3 ms (61.2 to 61.4)  50.0 ms  fail",
        "mixed-one-tier/1 fail: egp p5>p6: lost 613 of 600 000 frames",
        "three-tier left out: 1 tier here",
        "5.2.0-rc3 qualified: 3 required trials of 1 case passed, none failed",
    ]


def test_a_trial_without_streams_has_a_line_and_its_reason(
    good_record: Record, good_trial: TrialRecord
) -> None:
    trial = replace(
        good_trial, streams=(), verdict=Outcome.ERROR, reason="d1 runs 5.0.9, not 5.1.0"
    )
    lines = verdict_table(replace(good_record, trials=(trial,)))
    assert lines[2].split() == ["mixed-one-tier/1", "-", "-", "-", "-", "-", "-", "error"]
    assert lines[3] == "mixed-one-tier/1 error: d1 runs 5.0.9, not 5.1.0"


def test_an_interrupted_run_does_not_end_as_qualified(good_record: Record) -> None:
    lines = verdict_table(replace(good_record, finished=None))
    assert lines[-1] == "5.2.0-rc3 not proven: interrupted before the last trial was over"


def test_a_long_name_is_cut_but_never_its_trial(
    good_record: Record, good_trial: TrialRecord, lossy_stream: StreamRecord
) -> None:
    long = replace(
        lossy_stream,
        lost=50_000,
        outage_ns=5_000_000_000,
        outage_low_ns=4_999_900_000,
        outage_high_ns=5_000_100_000,
    )
    case = "everything-at-once-on-three-tiers-with-all-protocols"
    reason = "lost too much, and " * 12 + "more"
    trial = replace(
        good_trial, case=case, trial=12, streams=(long,), verdict=Outcome.FAIL, reason=reason
    )
    lines = verdict_table(replace(good_record, trials=(trial,)))
    assert max(map(len, lines[:-1])) <= 100
    assert lines[2].split()[0] == "everything../12"
    assert "5 000.0 ms (4 999.9 to 5 000.1)" in lines[2]


def test_a_name_without_a_slash_is_cut_at_its_end(
    good_record: Record, good_trial: TrialRecord, lossy_stream: StreamRecord
) -> None:
    named = replace(lossy_stream, path="a-very-long-name-for-one-path-of-the-testbed-indeed")
    lines = verdict_table(replace(good_record, trials=(replace(good_trial, streams=(named,)),)))
    assert max(map(len, lines[:-1])) <= 100
    assert " a-very-long-n.. " in lines[2]


def test_numbers_are_never_cut(
    good_record: Record, good_trial: TrialRecord, lossy_stream: StreamRecord
) -> None:
    endless = replace(
        lossy_stream,
        sent=1_000_000_000_000,
        lost=999_999_999_999,
        outage_ns=99_999_999_999_900_000,
        outage_low_ns=99_999_999_999_800_000,
        outage_high_ns=100_000_000_000_000_000,
    )
    lines = verdict_table(replace(good_record, trials=(replace(good_trial, streams=(endless,)),)))
    assert "1 000 000 000 000  999 999 999 999  " in lines[2]
    assert "99 999 999 999.9 ms (99 999 999 999.8 to 100 000 000 000.0)  50.0 ms  fail" in lines[2]
    assert lines[2].startswith("mixe../1  egp   p5>p6 ")


def test_words_from_a_device_cannot_steer_the_terminal(
    good_record: Record, good_trial: TrialRecord
) -> None:
    trial = replace(good_trial, verdict=Outcome.FAIL, reason="\x1b[2J\rall\nis well")
    lines = verdict_table(replace(good_record, trials=(trial,), reason="\x1b]0;title\x07"))
    assert all(line.isprintable() for line in lines)
