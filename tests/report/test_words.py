"""Figures read the way a release manager must not misread them."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from qualify.record.model import DecisionWord, DoubtRecord, PathRecord, Record, StreamRecord
from qualify.report.words import (
    bounds_words,
    budget_words,
    count_words,
    decision_of,
    decision_sentence,
    direction_words,
    doubts_words,
    frames_words,
    kind_words,
    moment_words,
    ms_words,
    outage_words,
    rate_words,
    seconds_words,
    share_words,
    sizes_words,
)


@pytest.mark.parametrize(
    ("frame_sizes", "written"),
    [
        ((), "1 518 octets"),
        ((1518,), "1 518 octets"),
        (
            (64, 64, 64, 1280, 1518),
            "IMIX - aaafg: 64 (3 in 5), 1 280 (1 in 5), 1 518 (1 in 5) octets",
        ),
        ((1518, 65), "1 518 (1 in 2), 65 (1 in 2) octets"),
    ],
)
def test_a_mix_of_sizes_reads_with_the_share_of_each(
    frame_sizes: tuple[int, ...], written: str
) -> None:
    """RFC 6985 §4 for the name; a record of an earlier version has no list of sizes."""
    assert sizes_words(1518, frame_sizes) == written


@pytest.mark.parametrize(
    ("headers", "vlans", "written"),
    [
        ("ipv4", (), "IPv4 frames"),
        ("ipv6", (10,), "IPv6 frames with VLAN tag 10"),
        ("ethernet", (200, 10), "Ethernet frames with VLAN tags 200 and 10"),
    ],
)
def test_the_frames_of_a_path_read_with_their_tags(
    headers: str, vlans: tuple[int, ...], written: str
) -> None:
    path = PathRecord("l2", "l2", None, ("p1", "p2"), 120, None, headers, vlans)
    assert frames_words(path) == written


def test_no_loss_is_never_zero_milliseconds(clean_stream: StreamRecord) -> None:
    slow = replace(clean_stream, outage_high_ns=5_000_000)
    assert outage_words(slow) == "no loss (< 5.0 ms)"


def test_a_loss_that_copies_may_hide_is_never_called_no_loss(clean_stream: StreamRecord) -> None:
    totals = replace(clean_stream, duplicate=None, outage_high_ns=90_001_000_000)
    assert outage_words(totals) == "not known (< 90 001.0 ms)"


def test_an_outage_reads_with_its_bounds(lossy_stream: StreamRecord) -> None:
    assert outage_words(lossy_stream) == "61.3 ms (61.2 to 61.4)"


def test_bounds_are_rounded_outwards(lossy_stream: StreamRecord) -> None:
    uneven = replace(lossy_stream, outage_low_ns=48_290_001, outage_high_ns=48_300_001)
    assert bounds_words(uneven) == "48.2 to 48.4"


def test_loss_at_the_edge_of_the_trial_has_no_upper_bound(lossy_stream: StreamRecord) -> None:
    edge = replace(lossy_stream, reaches_edge=True)
    assert outage_words(edge) == "over 61.2 ms"
    assert share_words(edge) == "seen in part only"


def test_a_stream_that_sent_nothing_has_no_outage(clean_stream: StreamRecord) -> None:
    silent = replace(clean_stream, sent=0, received=0)
    assert outage_words(silent) == "nothing sent"
    assert share_words(silent) == "not measured"


@pytest.mark.parametrize(
    ("budget_ns", "words"),
    [
        (None, "none"),
        (0, "0.0 ms"),
        (50_000_000, "50.0 ms"),
        (50_000, "0.05 ms"),
        (1_234_500_001, "1 234.500001 ms"),
    ],
)
def test_a_budget_is_never_rounded(budget_ns: int | None, words: str) -> None:
    assert budget_words(budget_ns) == words


@pytest.mark.parametrize(
    ("high_ns", "budget_ns", "words"),
    [
        (61_400_000, 50_000_000, "up to 123 % of the budget"),
        (50_000_000, 50_000_000, "up to 100 % of the budget"),
        (50_000_001, 50_000_000, "up to 101 % of the budget"),
        (100_000_000, 50_000_000, "up to 200 % of the budget"),
        (100_000_001, 50_000_000, "up to 2.1 times the budget"),
        (61_400_000, 10_000, "up to 6 140.0 times the budget"),
        (61_400_000, None, "no budget set"),
        (61_400_000, 0, "the budget is nothing"),
    ],
)
def test_the_share_of_the_budget_is_rounded_up(
    lossy_stream: StreamRecord, high_ns: int, budget_ns: int | None, words: str
) -> None:
    assert share_words(replace(lossy_stream, outage_high_ns=high_ns, budget_ns=budget_ns)) == words


def test_without_loss_the_share_is_a_bound(clean_stream: StreamRecord) -> None:
    assert share_words(clean_stream) == "below 1 % of the budget"


def test_unknown_is_a_dash_and_never_zero() -> None:
    assert {count_words(None), ms_words(None), seconds_words(None), rate_words(None)} == {"—"}
    assert moment_words(None) == "—"
    assert count_words(0) == "0"


def test_known_figures_are_rounded_against_the_device() -> None:
    assert count_words(12_000) == "12 000"
    assert ms_words(48_300_001) == "48.4 ms"
    assert seconds_words(12_345_678_901) == "12.4 s"
    assert rate_words(9_999.99) == "9 999.9"
    assert moment_words(datetime(2026, 3, 14, 9, 15, 59, tzinfo=UTC)) == "2026-03-14 09:15 UTC"


def test_directions_and_kinds_are_spelled_out() -> None:
    assert direction_words("p5>p6") == "p5 → p6"
    assert kind_words("l2", ()) == "Switching (L2)"
    assert kind_words("egp", ("bgp",)) == "Exterior routing (EGP, BGP)"
    assert kind_words("tunnel", ()) == "tunnel"


@pytest.mark.parametrize(
    ("word", "sentence"),
    [
        ("qualified", "5.2.0-rc3 is qualified for an upgrade in service from 5.1.0."),
        ("not qualified", "5.2.0-rc3 is not qualified for an upgrade in service from 5.1.0."),
        ("not proven", "5.2.0-rc3 is not proven fit for an upgrade in service from 5.1.0."),
    ],
)
def test_the_decision_is_one_sentence(good_record: Record, word: str, sentence: str) -> None:
    assert decision_sentence(replace(good_record, verdict=DecisionWord(word))) == sentence


def test_a_run_that_never_finished_has_not_qualified(good_record: Record) -> None:
    word, reason = decision_of(replace(good_record, finished=None))
    assert word is DecisionWord.NOT_PROVEN
    assert reason == "interrupted before the last trial was over"


def test_a_failure_stands_when_the_run_was_interrupted(bad_record: Record) -> None:
    word, _ = decision_of(replace(bad_record, finished=None))
    assert word is DecisionWord.NOT_QUALIFIED


def test_what_the_tester_did_is_told_in_one_line(lossy_stream: StreamRecord) -> None:
    assert doubts_words(lossy_stream) == ""
    stall = DoubtRecord("stall", None, 3_000_000, "the sender stalled for 3.0 ms")
    drops = DoubtRecord("ring-drops", 7, None, "the ring was full and dropped 7 frames")
    touched = replace(lossy_stream, doubts=(stall, drops))
    assert doubts_words(touched) == (
        "Tester: the sender stalled for 3.0 ms; the ring was full and dropped 7 frames."
    )


def test_the_report_says_when_the_transmit_times_speak(lossy_stream: StreamRecord) -> None:
    stream = replace(
        lossy_stream,
        outage_method="transmit-times",
        time_low_ns=20_350_000,
        time_high_ns=22_910_000,
    )
    assert doubts_words(stream) == (
        "Tester: the transmit times speak, not lost ÷ rate: 20.3 to 23.0 ms."
    )
    assert doubts_words(replace(stream, outage_method="lost-by-rate")) == ""
