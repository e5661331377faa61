"""Whole trials in the virtual lab: real frames, real OSPF and BGP, real upgrades.

The truth is the device's own kernel, which counts test frames at every port, and a capture that
tcpdump takes there.
"""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from ipaddress import ip_address, ip_network
from pathlib import Path
from typing import Any

import pytest
from scapy.layers.inet import IP
from scapy.utils import PcapReader

from tests.live import traces
from tests.live.traces import NOTHING, Traces

pytestmark = pytest.mark.live

PROJECT = Path(__file__).parents[2]
BENCHMARKING = ip_network("198.18.0.0/15")
PATHS = {("e1", "e2"), ("e2", "e1"), ("e3", "e4"), ("e4", "e3"), ("e5", "e6"), ("e6", "e5")}
PATIENCE_S = 60


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder for reports and locks; afterwards nothing of a lab is left on the machine."""
    runtime = tmp_path / "runtime"
    monkeypatch.setenv("QUALIFY_RUNTIME_DIR", str(runtime))
    before = traces.look(runtime)
    yield tmp_path
    await_true(lambda: left(runtime, before) == NOTHING, "nothing of the lab is left")


def left(runtime: Path, before: Traces) -> Traces:
    return traces.look(runtime).since(before)


def start(place: Path, *command: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", *command, "--reports", str(place / "reports")],
        cwd=PROJECT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def start_cases(place: Path, release: str) -> "subprocess.Popen[str]":
    return start(
        place,
        *("pytest", "cases/mixed-one-tier.yaml", "--trials=1", "-p", "no:cacheprovider"),
        *("--testbed", "testbeds/virtual-one-tier.yaml", "--release", release),
    )


def await_true(condition: Callable[[], bool], what: str) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, f"waited {PATIENCE_S} s: {what}"
        time.sleep(0.05)


def in_phase(place: Path, phase: str) -> Callable[[], bool]:
    def reached() -> bool:
        logs = list(place.glob("reports/5.2/runs/*/events.jsonl"))
        return bool(logs) and f'"words":"{phase}"' in logs[0].read_text().replace(" ", "")

    return reached


def record_of(place: Path) -> dict[str, Any]:
    (file,) = place.glob("reports/5.2/runs/*/record.json")
    content: dict[str, Any] = json.loads(file.read_text())
    return content


def lost_by_port(record: dict[str, Any]) -> dict[str, tuple[int, int]]:
    """For each device port that receives a stream: lost as the tester and as the device has it."""
    (trial,) = record["trials"]
    (dut,) = trial["duts"]
    ports = {port["port"]: port for port in dut["ports"]}
    return {
        sender: (
            stream["lost"],
            ports[sender]["received"] - ports[receiver]["sent"],
        )
        for stream in trial["streams"]
        for sender, receiver in [stream["direction"].replace("p", "e").split(">")]
    }


def test_the_demo_qualifies_a_graceful_release_with_real_frames(place: Path) -> None:
    run = start(place, "qualify.cli", "demo")
    await_true(in_phase(place, "steady"), "the trial reaches its steady phase")
    assert traces.daemons_in(traces.own_namespace()) == []
    seen = capture_on_device(place)
    output, _ = run.communicate(timeout=120)

    assert run.returncode == 0, output
    assert "5.2.0-rc3 qualified: 1 required trial of 1 case passed" in output
    record = record_of(place)
    assert all(tester == device for tester, device in lost_by_port(record).values())
    (trial,) = record["trials"]
    assert trial["duts"][0]["dropped_frames"] == sum(s["lost"] for s in trial["streams"])
    assert all(stream["sent"] > 5_000 for stream in trial["streams"])
    assert [neighbor["graceful_restarts"] for neighbor in trial["neighbors"]] == [1, 1, 1, 1]
    assert [route["after"] for route in trial["routes"]] == [100, 100, 500, 500]
    assert seen == PATHS


def capture_on_device(place: Path) -> set[tuple[str, str]]:
    """Capture on every device port for a moment; return the pairs of ports that frames cross."""
    file = place / "device.pcap"
    command = "timeout 3 tcpdump -i any -n -w - udp port 7"
    with file.open("wb") as stream:
        subprocess.run(
            [sys.executable, "-m", "qualify.cli", "lab", "enter", "d1", "--", *command.split()],
            cwd=PROJECT,
            stdout=stream,
            stderr=subprocess.PIPE,
            check=False,
        )
    return crossings(file)


def crossings(file: Path) -> set[tuple[str, str]]:
    """Read a capture and tell from the addresses which ports the frames come from and go to."""
    pairs = set()
    with PcapReader(str(file)) as packets:
        for packet in packets:
            ends = packet[IP].src, packet[IP].dst
            assert all(ip_address(end) in BENCHMARKING for end in ends)
            pairs.add((port_of(ends[0]), port_of(ends[1])))
    return pairs


def port_of(address: str) -> str:
    """Addresses of the first port of a path begin with 198.18., of the second with 198.19."""
    side = 0 if address.startswith("198.18.") else 1
    third = int(address.split(".")[2])
    if third == 1:
        return ("e1", "e2")[side]
    behind_igp = third * 256 + int(address.split(".")[3]) < 65 * 256 + 100 * 4
    return (("e3", "e4") if behind_igp else ("e5", "e6"))[side]


def test_a_cold_release_fails_every_promise_that_it_breaks(place: Path) -> None:
    run = start_cases(place, "5.2.0-rc2")
    output, _ = run.communicate(timeout=150)

    assert run.returncode == 1, output
    record = record_of(place)
    assert record["verdict"] == "not qualified"
    assert all(tester == device > 0 for tester, device in lost_by_port(record).values())
    (trial,) = record["trials"]
    assert {stream["verdict"] for stream in trial["streams"]} == {"fail"}
    assert all(stream["outage_low_ms"] > 2_900 for stream in trial["streams"])
    assert [neighbor["flaps"] for neighbor in trial["neighbors"]] == [1, 1, 1, 1]
    assert trial["duts"][0]["release_after"] == "5.2.0-rc2"
    assert output.count("FAILED cases/mixed-one-tier.yaml::test_outage") == 6
    assert output.count("FAILED cases/mixed-one-tier.yaml::test_neighbors") == 4
    assert "10 failed, 6 passed" in output
    assert "not qualified" in (place / "reports/5.2/report.html").read_text()


def test_a_stopped_run_is_recorded_as_interrupted_and_leaves_nothing(place: Path) -> None:
    run = start_cases(place, "5.2.0-rc3")
    await_true(in_phase(place, "steady"), "the trial reaches its steady phase")

    run.send_signal(signal.SIGINT)
    output, _ = run.communicate(timeout=20)

    assert run.returncode == 2, output
    record = record_of(place)
    assert record["finished"] is None
    assert record["reason"].startswith("interrupted after 0 of 1 trials")


def test_a_killed_run_leaves_nothing_but_what_it_had_written(place: Path) -> None:
    before = traces.look(place / "runtime")
    run = start_cases(place, "5.2.0-rc3")
    await_true(in_phase(place, "steady"), "the trial reaches its steady phase")

    run.send_signal(signal.SIGKILL)
    run.communicate(timeout=20)

    def gone() -> bool:
        return replace(left(place / "runtime", before), locks=frozenset()) == NOTHING

    await_true(gone, "the kernel has removed the lab of a dead owner")
    (events,) = place.glob("reports/5.2/runs/*/events.jsonl")
    assert json.loads(events.read_text().splitlines()[0])["event"] == "run"
    # Its lock file is still there; the next start removes it.
    status = subprocess.run(
        [sys.executable, "-m", "qualify.cli", "lab", "status"],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert str(run.pid) not in status.stdout


def test_without_rights_the_demo_says_so_and_runs_in_a_simulation(place: Path) -> None:
    demo = subprocess.run(
        [
            *("setpriv", "--bounding-set=-all", "--inh-caps=-all", "--no-new-privs"),
            *(sys.executable, "-m", "qualify.cli", "demo", "--reports", str(place / "reports")),
        ],
        cwd=PROJECT,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )

    assert demo.returncode == 0, demo.stdout + demo.stderr
    assert "This machine lacks what the virtual lab needs:" in demo.stdout
    assert "So the demo runs in a simulation" in demo.stdout
    assert "5.2.0-rc3 qualified" in demo.stdout
