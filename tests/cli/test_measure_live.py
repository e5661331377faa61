"""``qualify measure`` with real frames: stopped by a person, and the tester by itself."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from subprocess import Popen

import pytest

from qualify.bench.self_check import Step, check_tester
from qualify.testbed.testbed_file import read_testbed

pytestmark = pytest.mark.live

PROJECT = Path(__file__).parents[2]
VIRTUAL = PROJECT / "testbeds/virtual-one-tier.yaml"
QUALIFY = [sys.executable, "-c", "from qualify.cli.main import main; raise SystemExit(main())"]


def test_ctrl_c_stops_the_frames_and_still_shows_the_table(tmp_path: Path) -> None:
    environment = {
        **os.environ,
        "QUALIFY_RUNTIME_DIR": str(tmp_path / "labs"),
        "PYTHONUNBUFFERED": "1",
    }
    command = [*QUALIFY, "measure", str(VIRTUAL), "--seconds", "300", "--rate", "200"]
    with Popen(
        command, env=environment, cwd=PROJECT, stdout=subprocess.PIPE, text=True
    ) as measuring:
        assert measuring.stdout is not None
        lines = iter(measuring.stdout)
        assert next(lines) == "bench: open quay-one-tier (virtual)\n"
        assert "frames/s, sent" in next(lines)
        measuring.send_signal(signal.SIGINT)
        asked = time.monotonic()
        said = [line.rstrip("\n") for line in lines]
        status = measuring.wait(timeout=30)

    assert time.monotonic() - asked < 20
    # On a busy machine the sender may pause, and then says so; frames are not lost by it.
    clean = "clean: all that was sent arrived, once and in order"
    assert all(line == clean or ": the sender stalled for " in line for line in said[7:-1])
    assert status == (0 if said[7] == clean else 1)
    assert [line.split()[0] for line in said[:7]] == [
        "stream", "l2", "l2", "igp", "igp", "egp", "egp",
    ]  # fmt: skip
    assert list(tmp_path.iterdir()) == []


def test_the_tester_by_itself_finds_what_scapy_can_do() -> None:
    steps: list[Step] = []
    start = time.monotonic()

    checked = check_tester(read_testbed(VIRTUAL), tell=steps.append)

    assert time.monotonic() - start < 60
    assert steps[0].rate_pps == 666  # scapy's own limit over six streams
    assert checked.capability is not None
    assert 50 <= checked.capability.rate_pps <= 666
    assert checked.capability.streams == 6
    assert 0 < checked.capability.p99_stall_ns <= checked.capability.longest_stall_ns
