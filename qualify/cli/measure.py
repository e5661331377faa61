"""``qualify measure``: traffic without an upgrade, and what this machine can prove."""

import argparse
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType

from qualify.bench.bench import backend_limit, clock_for, open_bench
from qualify.bench.capability_file import keep_capability, read_capability
from qualify.bench.measurement import make_ready, measure_bench, plan_measurement
from qualify.bench.self_check import Step, check_tester
from qualify.bench.telling import Event
from qualify.cli.measure_words import LiveLine, sentences, table
from qualify.testbed.testbed import Testbed
from qualify.testbed.testbed_file import read_testbed
from qualify.units import format_count

SECONDS = 30
RATE_PPS = 500


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "measure",
        help="send traffic without an upgrade, or check what the tester itself can prove",
        description="Open the bench of a testbed, send traffic on all its paths for a while, and "
        "show what came of every stream. Exit status 0: all of it arrived, once and in order; 1: "
        "not all. Ctrl-C stops the frames at once and still shows the table.",
    )
    parser.add_argument("testbed", metavar="TESTBED", type=Path, help="a testbed file")
    parser.add_argument(
        "--seconds", type=_positive, default=SECONDS, help=f"how long to send ({SECONDS})"
    )
    parser.add_argument(
        "--rate",
        metavar="PPS",
        type=_positive,
        default=RATE_PPS,
        help=f"frames per second of each stream ({RATE_PPS})",
    )
    parser.add_argument(
        "--self-check",
        action="store_true",
        help="join the tester ports to each other instead, find out in less than a minute what "
        "this machine sends without loss, and keep the result: plans are held against it",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Measure, or check the tester itself."""
    testbed = read_testbed(args.testbed)
    if args.self_check:
        return _self_check(testbed)
    return _measure(testbed, seconds=args.seconds, rate_pps=args.rate)


def _measure(testbed: Testbed, *, seconds: int, rate_pps: int) -> int:
    kept = read_capability(testbed.tester.traffic, today=datetime.now(UTC).date())
    if kept.remark:
        print(kept.remark)
    limit = replace(backend_limit(testbed), seen=kept.capability)
    plan = plan_measurement(testbed, rate_pps=rate_pps, limit=limit)
    live = LiveLine(plan.trials[0].streams, seconds=seconds)
    clean = False
    try:
        with (
            _terminated_like_ctrl_c(),
            open_bench(plan, clock=clock_for(testbed), tell=_tell) as bench,
        ):
            make_ready(bench)
            with stop_on_signal() as stopped:
                measured = measure_bench(bench, seconds=seconds, watch=live.show, stopped=stopped)
            live.end()
            print("\n".join(table(measured)), flush=True)
            clean = all(each.clean for each in measured)
    except KeyboardInterrupt:
        print("\nended by Ctrl-C")
    return 0 if clean else 1


def _tell(event: Event) -> None:
    print(f"{event.kind}: {event.words}", flush=True)


def _self_check(testbed: Testbed) -> int:
    print(
        f"the tester ports of {testbed.name} are joined to each other, no device between them; "
        f"traffic backend '{testbed.tester.traffic}'",
        flush=True,
    )
    try:
        with _terminated_like_ctrl_c():
            checked = check_tester(testbed, tell=_tell_step)
    except KeyboardInterrupt:
        print("\nended by Ctrl-C; nothing is kept")
        return 1
    for sentence in sentences(checked):
        print(sentence)
    if checked.capability is None:
        return 1
    print(f"kept in {keep_capability(checked.capability)}")
    return 0


def _tell_step(step: Step) -> None:
    said = step.complaint or "clean"
    print(
        f"  {format_count(step.rate_pps)} frames/s on each stream for {step.seconds:g} s: {said}",
        flush=True,
    )


@contextmanager
def stop_on_signal() -> Iterator[Callable[[], bool]]:
    """While frames fly, let Ctrl-C (and SIGTERM) only ask for the end; the second time it ends all.

    Yields:
        Whether somebody asked.
    """
    asked = False

    def ask(_: int, __: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True

    with _handled_by(ask):
        yield lambda: asked


@contextmanager
def _terminated_like_ctrl_c() -> Iterator[None]:
    """Let SIGTERM end what runs as Ctrl-C does, so that everything is given back."""

    def end(_: int, __: FrameType | None) -> None:
        raise KeyboardInterrupt

    with _handled_by(end):
        yield


@contextmanager
def _handled_by(handler: Callable[[int, FrameType | None], None]) -> Iterator[None]:
    before = {each: signal.signal(each, handler) for each in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for each, earlier in before.items():
            signal.signal(each, earlier)


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(f"{number} is not a number from 1 up")
    return number
