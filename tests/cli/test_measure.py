"""``qualify measure`` on a simulated bench, and what it says about one that is not clean."""

import io
import os
import signal
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from qualify.bench.capability_file import keep_capability
from qualify.bench.measurement import MeasuredStream, Progress
from qualify.bench.self_check import SelfCheck, Step
from qualify.cli import measure
from qualify.cli.main import main
from qualify.cli.measure_words import LiveLine, sentences, table
from qualify.measure.stream import measure_stream
from qualify.plan.addressing import address_testbed
from qualify.plan.capability import Capability
from qualify.plan.streams import plan_streams
from qualify.traffic.backend import StreamCount
from tests.measure.captures import even_capture, timed_capture
from tests.sample import CASE, TESTBED

SIMULATED = str(Path(__file__).parents[2] / "testbeds/simulated-one-tier.yaml")
STREAMS = plan_streams(TESTBED, CASE, address_testbed(TESTBED))
SEEN = Capability(
    backend="scapy",
    measured_on=datetime.now(UTC).date().isoformat(),
    streams=6,
    frame_octets=128,
    rate_pps=666,
    longest_stall_ns=2_158_332,
    p99_stall_ns=145_217,
)


@pytest.fixture(autouse=True)
def own_private_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep what this machine knows of itself out of the tests, and the tests out of it."""
    monkeypatch.setattr("qualify.bench.capability_file.private_folder", lambda: tmp_path / ".lab")
    return tmp_path / ".lab"


def test_clean_traffic_ends_with_a_table_and_status_0(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", SIMULATED, "--seconds", "12", "--rate", "100"]) == 0

    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "bench: open quay-one-tier-simulated (simulated)"
    assert lines[1:3] == [
        "5 of 12 s: 600 frames/s, sent 3 000, lost or under way 0; impaired: none",
        "10 of 12 s: 600 frames/s, sent 6 000, lost or under way 0; impaired: none",
    ]
    assert lines[3].split("  ")[0] == "stream"
    assert " ".join(lines[4].split()) == "l2 p1>p2 1 200 1 200 0 0 0 0.1 ms 0.0 ms 0"
    assert lines[10] == "clean: all that was sent arrived, once and in order"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_while_frames_fly_only_asks_for_the_end(number: signal.Signals) -> None:
    with measure.stop_on_signal() as stopped:
        assert not stopped()
        os.kill(os.getpid(), number)
        assert stopped()
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), number)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_ctrl_c_before_frames_fly_ends_it_without_a_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(measure, "make_ready", lambda _: os.kill(os.getpid(), signal.SIGTERM))

    assert main(["measure", SIMULATED]) == 1
    assert capsys.readouterr().out.endswith("\nended by Ctrl-C\n")


@pytest.mark.parametrize("words", [["--seconds", "0"], ["--rate", "-1"], ["--rate", "fast"]])
def test_a_time_or_rate_below_one_is_wrong_usage(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["measure", SIMULATED, *words])
    assert f"argument {words[0]}: " in capsys.readouterr().err


def test_a_kept_self_check_bounds_the_rate(capsys: pytest.CaptureFixture[str]) -> None:
    keep_capability(replace(SEEN, backend="simulated", rate_pps=90))

    assert main(["measure", SIMULATED, "--rate", "100"]) == 2
    assert "sent 540 in all without loss with 'simulated'" in capsys.readouterr().err


def test_a_self_check_of_another_time_is_passed_over_with_a_word(
    own_private_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep_capability(replace(SEEN, backend="simulated", rate_pps=90, measured_on="2001-02-03"))

    assert main(["measure", SIMULATED, "--rate", "100", "--seconds", "1"]) == 0
    assert capsys.readouterr().out.splitlines()[0] == (
        f"{own_private_folder}/self-check-simulated.json is not used: it is of 2001-02-03; "
        "check again: qualify measure --self-check TESTBED"
    )


def test_a_simulated_testbed_cannot_check_itself(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", SIMULATED, "--self-check"]) == 2
    assert "a simulated testbed sends no frames" in capsys.readouterr().err


def test_a_self_check_says_every_step_and_keeps_what_it_found(
    own_private_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def check(_: object, *, tell: Callable[[Step], None]) -> SelfCheck:
        tell(Step(666, 2.0, "", 0, 0))
        tell(Step(666, 5.0, "l2 p1>p2: only 600 frames/s were sent", 0, 0))
        return SelfCheck(SEEN, capped=False)

    monkeypatch.setattr(measure, "check_tester", check)

    assert main(["measure", SIMULATED, "--self-check"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1:3] == [
        "  666 frames/s on each stream for 2 s: clean",
        "  666 frames/s on each stream for 5 s: l2 p1>p2: only 600 frames/s were sent",
    ]
    assert lines[-1] == f"kept in {own_private_folder}/self-check-scapy.json"


def test_a_tester_that_can_do_nothing_keeps_nothing(
    own_private_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def check(_: object, *, tell: Callable[[Step], None]) -> SelfCheck:
        tell(Step(50, 2.0, "l2 p1>p2: only 9 frames/s were sent", 0, 0))
        return SelfCheck(None, capped=False)

    monkeypatch.setattr(measure, "check_tester", check)

    assert main(["measure", SIMULATED, "--self-check"]) == 1
    assert "sends no rate without loss" in capsys.readouterr().out
    assert not own_private_folder.exists()


def test_what_a_machine_can_prove_is_said_in_plain_sentences() -> None:
    assert sentences(SelfCheck(SEEN, capped=True)) == [
        "This machine sends and receives 3 996 frames/s in all without loss: 6 streams of 666, "
        "128 octets each; the backend itself allows no more.",
        "99 of 100 frames of a stream left at most 0.2 ms late after the one before, and every one "
        "at most 2.2 ms.",
        "So at this rate an outage of 3.7 ms is always seen, and 3.7 ms is the smallest budget "
        "that a stream without loss can prove.",
    ]


def test_the_table_says_unknown_for_what_is_not_known() -> None:
    lossy = even_capture(sent=1_000, lost=(5, 6), tester_dropped=None)
    muddled = timed_capture(sent_at=(0, 5, 3), received=())
    rows = table(
        [
            MeasuredStream(STREAMS[0], lossy, measure_stream(lossy), ""),
            MeasuredStream(STREAMS[1], muddled, None, "the sender's clock went back"),
        ]
    )

    assert " ".join(rows[1].split()) == "l2 p1>p2 1 000 998 2 0 0 0.1 ms 0.0 ms unknown"
    assert rows[2].split() == ["l2", "p2>p1", *["unknown"] * 8]
    assert rows[3:] == ["l2 p2>p1: the sender's clock went back", "not clean"]


class Terminal(io.StringIO):
    """Text that a terminal would show."""

    def isatty(self) -> bool:
        """It is one."""
        return True


def counts(sent: int, received: int, *, impaired_ns: int | None = None) -> tuple[StreamCount, ...]:
    return (StreamCount(0, sent, received, impaired_ns, 1),)


def test_on_a_terminal_one_line_is_rewritten_and_removed_at_the_end() -> None:
    terminal = Terminal()
    live = LiveLine(STREAMS, seconds=30, output=terminal)

    live.show(Progress(500_000_000, counts(250, 250)))
    live.show(Progress(1_000_000_000, counts(500, 490, impaired_ns=7)))
    live.end()

    assert terminal.getvalue().split("\r\x1b[K") == [
        "",
        "0 of 30 s: 500 frames/s, sent 250, lost or under way 0; impaired: none",
        "1 of 30 s: 500 frames/s, sent 500, lost or under way 10; impaired: l2 p1>p2",
        "",
    ]


def test_elsewhere_a_line_appears_every_five_seconds() -> None:
    output = io.StringIO()
    live = LiveLine(STREAMS, seconds=30, output=output)

    for second in range(1, 12):
        live.show(Progress(second * 1_000_000_000, counts(second * 100, second * 100)))
    live.end()

    assert [line.split(":")[0] for line in output.getvalue().splitlines()] == [
        "5 of 30 s",
        "10 of 30 s",
    ]


def test_a_rate_that_nobody_knows_while_traffic_runs_is_not_made_up() -> None:
    output = io.StringIO()
    live = LiveLine(STREAMS, seconds=30, output=output)

    live.show(Progress(5_000_000_000, (StreamCount(0, None, None, None, None),)))

    assert output.getvalue() == "5 of 30 s: nobody counts while the traffic runs\n"


def test_what_the_tester_did_stands_below_the_table() -> None:
    late = timed_capture(sent_at=(0, 1_000_000, 9_000_000), received=(0, 1, 2))

    rows = table([MeasuredStream(STREAMS[0], late, measure_stream(late), "")])

    assert rows[2:] == [
        "l2 p1>p2: the sender stalled for 7.0 ms, longer than the time between two of its frames",
        "clean: all that was sent arrived, once and in order",
    ]
