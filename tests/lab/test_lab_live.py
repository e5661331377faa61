"""The lab on this machine: it works inside, and outside nothing of it can be seen or is left."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from qualify.errors import LabError
from qualify.lab.lab import Lab
from qualify.lab.lock import runtime_folder
from qualify.measure.observation import PortCount
from tests.lab.live_frames import Receiver, build_frame, sent_by, start_sender
from tests.sample import TESTBED

pytestmark = pytest.mark.live

OWN = replace(TESTBED, name=f"lab-{os.getpid()}")
PATIENCE_S = 10

OWNER = """
import sys
from dataclasses import replace
from qualify.lab.lab import Lab
from tests.sample import TESTBED
lab = Lab(replace(TESTBED, name="killed"))
lab.namespace("d1").run("sh", "-c", "setsid sleep 1000 > /dev/null 2>&1 &")
lab.spawn("sleep", "1000")
print(lab.first_process, flush=True)
sys.stdin.read()
"""


@pytest.fixture(scope="module")
def runtime(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Keep these labs apart from others of this user."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("runtime")
        patch.setenv("QUALIFY_RUNTIME_DIR", str(folder / "labs"))
        yield folder


@pytest.fixture(scope="module")
def lab(runtime: Path) -> Iterator[Lab]:
    """One lab without any device software in it."""
    assert runtime.is_dir()
    with Lab(OWN) as lab:
        yield lab


def namespaces_of_all_processes() -> set[str]:
    """Return the network, mount and process namespaces that any process of the machine is in."""
    found = set()
    for process in Path("/proc").iterdir():
        for kind in ("net", "mnt", "pid"):
            try:
                found.add(str((process / "ns" / kind).readlink()))
            except OSError:
                continue
    return found


def processes_with(words: str) -> list[str]:
    """Return the command lines, of all processes of the machine, that hold these words."""
    found = []
    for process in Path("/proc").iterdir():
        try:
            line = (process / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:
            continue
        if words in line:
            found.append(line)
    return found


def await_that(condition: Callable[[], bool]) -> None:
    """Wait until a condition holds."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_every_port_has_its_cable_to_the_device(lab: Lab) -> None:
    cable = lab.port_access("p3")

    assert (cable.interface, cable.mac) == ("p3", "02:10:00:00:00:03")
    ip = lab.programs.path("ip")
    assert "02:10:00:00:00:03" in lab.namespace("p3").run(ip, "link", "show", "p3")
    assert cable.gateway_mac in lab.namespace("d1").run(ip, "link", "show", "e3")
    assert "LOWER_UP" in lab.namespace("p3").run(ip, "link", "show", "p3")
    assert cable.namespace.exists()


def test_a_command_that_fails_is_shown_ready_to_be_pasted(lab: Lab) -> None:
    with pytest.raises(LabError, match=r"^a command in the lab ended with 7: bad luck\n") as caught:
        lab.namespace("d1").run("sh", "-s", stdin="echo bad luck >&2; exit 7")

    pasted = caught.value.fix.partition("while the lab is up: ")[2]
    again = subprocess.run(["sh", "-c", pasted], capture_output=True, text=True, check=False)
    assert (again.returncode, again.stderr) == (7, "bad luck\n")


def test_a_command_that_hangs_is_given_up(lab: Lab) -> None:
    with pytest.raises(LabError, match=r"^a command in the lab was not done after 0.2 s\n"):
        lab.namespace("d1").run("sleep", "4242", timeout_s=0.2)

    await_that(lambda: not processes_with("sleep 4242"))


def test_names_that_are_not_in_the_lab_are_refused(lab: Lab) -> None:
    with pytest.raises(LabError, match=r"no namespace 'd9'\n  fix: choose one of d1, p1, p2"):
        lab.namespace("d9")
    with pytest.raises(LabError, match=r"no tester port 'd1'\n  fix: choose one of p1, p2"):
        lab.port_access("d1")


def test_a_process_inside_sees_the_namespaces_and_is_killed_with_its_handle(lab: Lab) -> None:
    inside = lab.spawn("sh", "-c", "ls /run/netns; exec sleep 4243")
    assert inside.stdout is not None
    assert [inside.stdout.readline().decode().strip() for _ in range(7)] == [
        "d1",
        "p1",
        "p2",
        "p3",
        "p4",
        "p5",
        "p6",
    ]
    await_that(lambda: bool(processes_with("sleep 4243")))

    inside.kill()
    inside.communicate()

    await_that(lambda: not processes_with("sleep 4243"))


def test_nothing_of_the_lab_is_visible_outside(lab: Lab) -> None:
    assert not Path("/run/netns/d1").exists()
    assert "lab /run" not in Path("/proc/self/mounts").read_text()
    assert "02:10:00" not in "".join(
        (interface / "address").read_text() for interface in Path("/sys/class/net").iterdir()
    )
    own = Path("/proc/self/ns/net").readlink()
    assert Path(f"/proc/{lab.first_process}/ns/net").readlink() != own


def test_frames_are_counted_in_and_out_to_the_frame(lab: Lab) -> None:
    """300 frames through a bridge that forwards 200 of them: in minus out is what was lost."""
    device = lab.namespace("d1")
    before = lab.frame_counts("d1")
    ip = lab.programs.path("ip")
    device.run(ip, "link", "add", "sw9", "type", "bridge")
    device.run(ip, "link", "set", "sw9", "up")
    for port in ("e1", "e2"):
        device.run(ip, "link", "set", port, "master", "sw9")
    frame = build_frame(
        "02:00:01:00:00:00", "02:00:01:01:00:00", source="198.18.1.11", target="198.19.1.11"
    )
    receiver = Receiver(lab, "p2")

    forwarded = sent_by(start_sender(lab, "p1", frame, count=200, gap_s=0))
    await_that(lambda: lab.frame_counts("d1")[1].sent == before[1].sent + 200)
    device.run(ip, "link", "set", "e2", "nomaster")
    dropped = sent_by(start_sender(lab, "p1", frame, count=100, gap_s=0))

    assert (forwarded, dropped) == (200, 100)
    assert receiver.count() == 200
    after = lab.frame_counts("d1")
    assert after[0] == PortCount("e1", before[0].received + 300, before[0].sent)
    assert after[1] == PortCount("e2", before[1].received, before[1].sent + 200)
    device.run(ip, "link", "delete", "sw9")


def test_the_lab_of_a_testbed_is_had_only_once(lab: Lab) -> None:
    assert lab.testbed is OWN
    with pytest.raises(LabError, match=rf"^the lab of testbed {OWN.name} is in use by process"):
        Lab(OWN)


def test_an_owner_that_is_killed_leaves_no_process_namespace_or_mount(runtime: Path) -> None:
    before = namespaces_of_all_processes()
    mounts = Path("/proc/self/mounts").read_text()
    with subprocess.Popen(
        [sys.executable, "-c", OWNER],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[2],
    ) as owner:
        assert owner.stdout is not None
        first_process = int(owner.stdout.readline())
        inside = {
            str(Path(f"/proc/{first_process}/ns/{kind}").readlink())
            for kind in ("net", "mnt", "pid")
        }
        assert not inside & before
        owner.send_signal(signal.SIGKILL)

    await_that(lambda: not inside & namespaces_of_all_processes())
    assert not Path(f"/proc/{first_process}").exists()
    await_that(lambda: not processes_with("sleep 1000"))
    assert Path("/proc/self/mounts").read_text() == mounts
    with Lab(replace(TESTBED, name="killed")):
        assert (runtime_folder() / "killed.lab").exists()
    assert not (runtime_folder() / "killed.lab").exists()
    assert runtime.exists()
