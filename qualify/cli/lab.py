"""``qualify lab``: fetch the lab's programs; bring a virtual testbed up, look into it, end it."""

import argparse
import os
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import FrameType

from qualify.bench.plugs import open_device, open_peer
from qualify.clock import RealClock
from qualify.devices.device import Device
from qualify.errors import LabError
from qualify.lab.fetch import fetch_programs
from qualify.lab.lab import Lab
from qualify.lab.lock import running_labs
from qualify.lab.programs import lab_programs
from qualify.lab.running import end_lab, lab_of, look_inside
from qualify.peers.peer import Peer
from qualify.plan.peers import plan_peers
from qualify.plan.trial import PeerPlan
from qualify.site import Site
from qualify.testbed.image_file import find_image, read_images
from qualify.testbed.testbed import BenchKind, Testbed
from qualify.testbed.testbed_file import read_testbed

CONVERGE_WITHIN_S = 90
POLL_S = 0.2


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add ``lab`` and its own subcommands to the command."""
    parser = subparsers.add_parser(
        "lab",
        help="the virtual lab: fetch its programs, bring it up, look inside, end it",
        description="The virtual lab of a testbed of kind virtual. It lives in namespaces of its "
        "own, seen by nobody else, and ends with the process that has it up.",
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    fetch = actions.add_parser("fetch", help="fetch the programs that the lab needs")
    fetch.set_defaults(run=_fetch)
    up = actions.add_parser("up", help="bring a lab up and hold it until Ctrl-C")
    up.add_argument("testbed", metavar="TESTBED", type=Path, help="a testbed of kind virtual")
    up.set_defaults(run=_up)
    status = actions.add_parser("status", help="list the labs that are up")
    status.set_defaults(run=_status)
    _add_enter(actions)
    down = actions.add_parser("down", help="end a lab by asking the process that has it up")
    down.add_argument("--testbed", metavar="NAME", help="which lab, when several are up")
    down.set_defaults(run=_down)


def _add_enter(actions: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    enter = actions.add_parser(
        "enter",
        help="run a command in a namespace of a lab that is up",
        description="Run a command inside, e.g.: qualify lab enter d1 -- tcpdump -ni e1, "
        "qualify lab enter d1 -- vtysh, qualify lab enter p3 -- birdc show protocols",
    )
    enter.add_argument("--testbed", metavar="NAME", help="which lab, when several are up")
    enter.add_argument("name", metavar="NAME", help="a device or a tester port")
    enter.add_argument("command", metavar="COMMAND", nargs="+", help="after --, with its arguments")
    enter.set_defaults(run=_enter)


def _fetch(_: argparse.Namespace) -> int:
    fetched = fetch_programs(lab_programs())
    if not fetched.packages:
        print(f"nothing to fetch: every program is there, in {fetched.folder} or on the machine")
        return 0
    print(f"unpacked into {fetched.folder}, nothing installed:")
    for package in fetched.packages:
        print(f"  {package}")
    return 0


def _up(arguments: argparse.Namespace) -> int:
    testbed = read_testbed(arguments.testbed)
    if testbed.kind is not BenchKind.VIRTUAL:
        raise LabError(
            f"testbed {testbed.name} is {testbed.kind}, and only a virtual one has a lab",
            fix="choose a testbed with kind: virtual",
            where=str(testbed.file),
        )
    with _ended_by_signals(), ExitStack() as stack:
        started = time.monotonic()
        try:
            peers = _open(testbed, stack)
            _say_state(peers, seconds=time.monotonic() - started)
            _say_how_to_look(testbed)
            signal.pause()
        except KeyboardInterrupt:
            print("\nthe lab ends")
    return 0


def _open(testbed: Testbed, stack: ExitStack) -> list[tuple[PeerPlan, Peer]]:
    """Build the lab, start peers and devices, and wait until they have told each other all."""
    lab = stack.enter_context(Lab(testbed))
    site = Site(testbed, RealClock(), lab, None)
    peers = [(plan, open_peer(plan, site)) for plan in plan_peers(testbed)]
    for _, peer in peers:
        peer.start()
        stack.callback(peer.stop)
    images = read_images(testbed.images)
    for dut in testbed.duts:
        device = open_device(dut, site)
        stack.callback(device.close)
        device.restore(find_image(testbed, release=dut.release, images=images))
        _say_device(dut.name, device)
    print("waiting for neighbors and routes …", flush=True)
    deadline = time.monotonic() + CONVERGE_WITHIN_S
    while time.monotonic() < deadline and not all(_is_ready(plan, peer) for plan, peer in peers):
        time.sleep(POLL_S)
    return peers


def _is_ready(plan: PeerPlan, peer: Peer) -> bool:
    return peer.up() and peer.routes() == plan.expected_routes


def _say_device(name: str, device: Device) -> None:
    facts = device.facts()
    print(f"{name}: {facts.maker} {facts.model}, release {facts.release}", flush=True)


def _say_state(peers: list[tuple[PeerPlan, Peer]], *, seconds: float) -> None:
    for plan, peer in peers:
        state = "up" if peer.up() else "not up"
        learned = peer.routes()
        routes = "an unknown number" if learned is None else learned
        print(
            f"{plan.port}: {plan.protocol} neighbor {state}, {routes} of "
            f"{plan.expected_routes} routes"
        )
    print(f"up after {seconds:.1f} s")


def _say_how_to_look(testbed: Testbed) -> None:
    end = testbed.tester.ports[0].attach
    print(
        "look inside from another terminal: "
        f"qualify lab enter {end.dut} -- tcpdump -ni {end.port}\n"
        "end it: Ctrl-C here, or qualify lab down",
        flush=True,
    )


def _status(_: argparse.Namespace) -> int:
    labs = running_labs()
    if not labs:
        print("no lab is up")
    for lab in labs:
        inside = f"first process {lab.first_process}" if lab.first_process else "being built"
        print(f"{lab.testbed}: process {lab.owner} since {lab.started}, {inside}")
        if lab.namespaces:
            print(f"  namespaces {' '.join(lab.namespaces)}")
    return 0


def _enter(arguments: argparse.Namespace) -> int:
    lab = lab_of(arguments.testbed)
    command = look_inside(lab, lab_programs(), arguments.name, arguments.command)
    os.execvp(command[0], command)


def _down(arguments: argparse.Namespace) -> int:
    lab = lab_of(arguments.testbed)
    end_lab(lab)
    print(f"the lab of testbed {lab.testbed} is gone")
    return 0


@contextmanager
def _ended_by_signals() -> Iterator[None]:
    """Let SIGTERM end the lab as Ctrl-C does, also where a shell made this process deaf to it."""

    def end(_: int, __: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
