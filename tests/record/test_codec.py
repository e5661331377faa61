"""Records become JSON values and come back; every complaint names the key."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qualify.errors import RecordError
from qualify.record.codec import decode, encode
from qualify.record.json_text import Json, read_json, write_json
from qualify.record.model import (
    CaseRecord,
    DutRecord,
    MachineRecord,
    NeighborRecord,
    PhaseRecord,
    PortRecord,
    Record,
    StreamRecord,
)
from qualify.record.place import Place

HERE = Place("r.json")

st.register_type_strategy(datetime, st.datetimes(timezones=st.just(UTC)))
st.register_type_strategy(float, st.floats(allow_nan=False, allow_infinity=False))


def a_port() -> dict[str, Json]:
    return {"port": "e1", "received": 10, "sent": 9}


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.from_type(Record))
def test_every_record_comes_back(record: Record) -> None:
    assert decode(Record, read_json(write_json(encode(record))), HERE) == record


def test_durations_carry_their_unit_in_the_file() -> None:
    dut = DutRecord("d1", 1, "5.1.0", None, 12_300_000_000, None)
    encoded = encode(dut)
    assert encoded["upgrade_s"] == Decimal("12.3")
    assert encoded["dropped_frames"] is None
    assert "upgrade_ns" not in encoded


def test_clock_times_stay_in_nanoseconds() -> None:
    assert encode(PhaseRecord("check", 5, 7)) == {"name": "check", "start_ns": 5, "end_ns": 7}


def test_unknown_keys_are_passed_over() -> None:
    port = decode(PortRecord, {**a_port(), "colour": "blue"}, HERE)
    assert port == PortRecord("e1", 10, 9)


def test_a_key_with_a_default_may_be_missing() -> None:
    assert decode(MachineRecord, {}, HERE) == MachineRecord(None, None, None, None, {})


def test_an_essential_key_must_be_there() -> None:
    value = a_port()
    del value["sent"]
    with pytest.raises(RecordError, match=r"^r\.json: key 'sent' is missing\n  fix: restore"):
        decode(PortRecord, value, HERE)


def test_the_complaint_names_the_place() -> None:
    dut: dict[str, Json] = {
        "name": "d1",
        "tier": 1,
        "release_before": None,
        "release_after": None,
        "upgrade_s": None,
        "dropped_frames": None,
        "ports": [dict(a_port()), {**a_port(), "sent": "nine"}],
    }
    with pytest.raises(
        RecordError, match=r'r\.json ports\[1\]\.sent: expected a whole number, found "nine"'
    ):
        decode(DutRecord, dut, HERE)


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("port", 3, "expected a text, found 3"),
        ("sent", None, "expected a whole number, found null"),
        ("sent", True, "expected a whole number, found true"),
        ("sent", Decimal("9.5"), r"expected a whole number, found 9\.5"),
        ("sent", {}, "expected a whole number, found an object"),
        ("sent", [], "expected a whole number, found a list"),
    ],
)
def test_a_value_must_be_what_its_key_promises(key: str, value: Json, message: str) -> None:
    with pytest.raises(RecordError, match=rf"r\.json {key}: {message}"):
        decode(PortRecord, {**a_port(), key: value}, HERE)


def _stream(**changed: Json) -> dict[str, Json]:
    stream: dict[str, Json] = dict.fromkeys(
        ["intended_pps", "frame_octets", "sent", "received", "lost", "duplicate", "reordered"], 1
    )
    stream |= dict.fromkeys(
        ["loss_periods", "outage_ms", "outage_low_ms", "outage_high_ms", "longest_ms"], 1
    )
    stream |= dict.fromkeys(
        ["offered_pps", "receive_gap_ms", "max_delay_ms", "tester_dropped", "budget_ms"]
    )
    stream |= {"path": "l2", "kind": "l2", "direction": "p1>p2", "verdict": "pass", "reason": ""}
    return stream | changed


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("verdict", "passed", 'expected one of: pass, fail, inconclusive, error, found "passed"'),
        ("verdict", None, "expected one of: .*, found null"),
        ("outage_ms", "48.3", 'expected a number, found "48.3"'),
        ("outage_ms", False, "expected a number, found false"),
        ("outage_ms", None, "expected a number, found null"),
        ("offered_pps", "fast", 'expected a number, found "fast"'),
        ("offered_pps", Decimal("1e999"), "this number is too large"),
        ("offered_pps", 10**400, "this number is too large"),
        ("worst_destinations", {}, "expected a list, found an object"),
        ("worst_destinations", [7], "expected an object, found 7"),
    ],
)
def test_a_stream_must_be_well_formed(key: str, value: Json, message: str) -> None:
    with pytest.raises(RecordError, match=rf"r\.json {key}(\[0\])?: {message}"):
        decode(StreamRecord, _stream(**{key: value}), HERE)


@pytest.mark.parametrize(
    "value", ["yesterday", "2026-03-14T09:15:00", 5, "0001-01-01T00:00:00+23:59"]
)
def test_a_time_needs_its_offset(value: Json) -> None:
    with pytest.raises(RecordError, match="started: expected a time with its offset from UTC"):
        decode(Record, {"run": "a", "started": value}, HERE)


def test_versions_of_packages_are_texts() -> None:
    with pytest.raises(RecordError, match=r"packages\.numpy: expected a text, found 2"):
        decode(MachineRecord, {"packages": {"numpy": 2}}, HERE)
    with pytest.raises(RecordError, match="packages: expected an object, found null"):
        decode(MachineRecord, {"packages": None}, HERE)


def test_a_truth_is_true_or_false() -> None:
    case: dict[str, Json] = dict.fromkeys(
        ["required_trials", "tiers", "offered_load_pps", "frame_octets", "allowed_flaps"], 1
    )
    case |= {"case": "a", "order": "rolling", "budgets": [], "graceful_restarts_allowed": 1}
    with pytest.raises(
        RecordError, match="graceful_restarts_allowed: expected true or false, found 1"
    ):
        decode(CaseRecord, case, HERE)


def test_silence_that_nobody_watched_is_null() -> None:
    neighbor = NeighborRecord("igp", "p3", "ospf", "Full", "Full", 0, 0, None, 40_000_000_000)
    encoded = encode(neighbor)
    assert encoded["longest_silence_ms"] is None
    assert encoded["hold_ms"] == 40_000
