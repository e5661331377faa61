"""A kept self-check holds for the machine and the time that it was made on, and for no other."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from qualify.bench.capability_file import keep_capability, kept_file, read_capability, this_machine
from qualify.plan.capability import Capability

SEEN = Capability(
    backend="scapy",
    measured_on="2026-11-25",
    streams=6,
    frame_octets=128,
    rate_pps=600,
    longest_stall_ns=3_000_000,
    p99_stall_ns=200_000,
)
DAY = date(2026, 11, 25)
AGAIN = "; check again: qualify measure --self-check TESTBED"


def test_what_was_kept_is_read_again(tmp_path: Path) -> None:
    folder = tmp_path / ".lab"

    file = keep_capability(SEEN, folder=folder)
    kept = read_capability("scapy", today=DAY, folder=folder)

    assert file == folder / "self-check-scapy.json"
    assert (kept.capability, kept.remark) == (SEEN, "")
    assert list(folder.iterdir()) == [file]


def test_a_new_result_takes_the_place_of_the_last(tmp_path: Path) -> None:
    keep_capability(SEEN, folder=tmp_path)
    keep_capability(replace(SEEN, rate_pps=700), folder=tmp_path)

    kept = read_capability("scapy", today=DAY, folder=tmp_path)

    assert kept.capability == replace(SEEN, rate_pps=700)


def test_of_another_backend_nothing_is_known(tmp_path: Path) -> None:
    keep_capability(SEEN, folder=tmp_path)

    kept = read_capability("ring", today=DAY, folder=tmp_path)

    assert (kept.capability, kept.remark) == (None, "")


@pytest.mark.parametrize(("today", "used"), [(date(2027, 2, 23), True), (date(2027, 2, 24), False)])
def test_a_result_holds_for_ninety_days(tmp_path: Path, today: date, used: bool) -> None:  # noqa: FBT001
    keep_capability(SEEN, folder=tmp_path)

    kept = read_capability("scapy", today=today, folder=tmp_path)

    assert (kept.capability is not None) is used
    file = kept_file("scapy", tmp_path)
    assert kept.remark == ("" if used else f"{file} is not used: it is of 2026-11-25{AGAIN}")


def test_a_result_of_tomorrow_is_not_used(tmp_path: Path) -> None:
    keep_capability(SEEN, folder=tmp_path)

    kept = read_capability("scapy", today=date(2026, 11, 24), folder=tmp_path)

    assert kept.capability is None


@pytest.mark.parametrize("foreign", ["kernel", "architecture", "cpus"])
def test_a_result_of_another_machine_is_not_used(tmp_path: Path, foreign: str) -> None:
    file = keep_capability(SEEN, folder=tmp_path)
    own = this_machine()
    if foreign == "cpus":
        before, after = f'"cpus": {own.cpus}', '"cpus": 999'
    else:
        before, after = f'"{getattr(own, foreign)}"', '"other"'
    file.write_text(file.read_text().replace(before, after))

    kept = read_capability("scapy", today=DAY, folder=tmp_path)

    kernel = "other" if foreign == "kernel" else own.kernel
    assert (kept.capability, kept.remark) == (
        None,
        f"{file} is not used: it was made on another machine or kernel ({kernel}){AGAIN}",
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("{", "Expecting property name"),
        ("[]", "list indices must be integers"),
        ('{"format": 2}', "format 2, not 1"),
        ('{"format": 1, "capability": {}}', "missing 7 required positional arguments"),
    ],
)
def test_a_file_that_is_no_result_is_not_used(tmp_path: Path, text: str, reason: str) -> None:
    file = kept_file("scapy", tmp_path)
    file.write_text(text)

    kept = read_capability("scapy", today=DAY, folder=tmp_path)

    assert kept.capability is None
    assert kept.remark.startswith(f"{file} is not used: it cannot be read (")
    assert reason in kept.remark
