"""One lab for each testbed: who holds it is told, and the dead hold nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from qualify.errors import LabError
from qualify.lab import running
from qualify.lab.lock import LabLock, running_labs, runtime_folder
from qualify.lab.programs import Programs, lab_programs
from qualify.lab.running import end_lab, lab_of, look_inside

HOLDER = """
import sys
from qualify.lab.lock import LabLock
lock = LabLock("quay")
lock.tell(first_process=4711, namespaces=("d1", "p1"))
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture(autouse=True)
def own_runtime_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the locks of a test away from labs that are really up."""
    monkeypatch.setenv("QUALIFY_RUNTIME_DIR", str(tmp_path / "labs"))


def hold_elsewhere(first: str = "") -> "subprocess.Popen[bytes]":
    """Let another process hold the lab of testbed quay until its input ends."""
    holder = subprocess.Popen(
        [sys.executable, "-c", first + HOLDER], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdout is not None
    assert holder.stdout.readline() == b"held\n"
    return holder


def test_a_second_holder_is_told_who_the_first_is() -> None:
    with hold_elsewhere() as holder:
        with pytest.raises(
            LabError,
            match=rf"^the lab of testbed quay is in use by process {holder.pid} since 2\d\d\d-"
            r".*\n  fix: wait for it, or end it: qualify lab down$",
        ):
            LabLock("quay")
        holder.kill()


def test_the_lock_of_a_killed_holder_is_free_and_its_file_is_removed() -> None:
    with hold_elsewhere() as holder:
        holder.kill()

    assert [file.name for file in runtime_folder().iterdir()] == ["quay.lab"]
    assert running_labs() == ()
    assert not runtime_folder().exists()


def test_a_lock_that_a_dead_holder_left_can_be_taken_at_once() -> None:
    with hold_elsewhere() as holder:
        holder.kill()

    LabLock("quay").release()

    assert not runtime_folder().exists()


def test_labs_of_two_testbeds_stand_side_by_side() -> None:
    first, second = LabLock("quay"), LabLock("pier")

    assert [lab.testbed for lab in running_labs()] == ["pier", "quay"]
    with pytest.raises(LabError, match=r"^2 labs are up: pier, quay\n  fix: say which one"):
        lab_of(None)
    assert lab_of("pier").owner == os.getpid()
    first.release()
    second.release()


def test_a_running_lab_tells_its_process_and_namespaces() -> None:
    with hold_elsewhere() as holder:
        lab = lab_of(None)
        assert (lab.owner, lab.first_process) == (holder.pid, 4711)
        assert lab.namespaces == ("d1", "p1")
        holder.kill()


def test_a_lab_ends_when_its_owner_is_asked_to() -> None:
    with hold_elsewhere() as holder:
        end_lab(lab_of("quay"))

        assert holder.wait() != 0
    with pytest.raises(LabError, match=r"^no lab is up\n  fix: start one: qualify lab up TESTBED$"):
        lab_of(None)


def test_only_namespaces_that_exist_can_be_looked_into() -> None:
    lock = LabLock("quay")
    programs = Programs(Path("/nowhere"))
    with pytest.raises(LabError, match=r"^the lab of testbed quay is being built\n"):
        look_inside(lab_of(None), programs, "d1", ["ls"])
    lock.tell(first_process=4711, namespaces=("d1", "p1"))

    with pytest.raises(LabError, match=r"has no namespace 'd2'\n  fix: choose one of d1, p1$"):
        look_inside(lab_of(None), programs, "d2", ["ls"])
    lock.release()


def test_an_owner_that_does_not_end_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "END_WITHIN_S", 0.2)
    with hold_elsewhere("import signal; signal.pthread_sigmask(signal.SIG_BLOCK, {2, 15})") as deaf:
        with pytest.raises(
            LabError,
            match=rf"^process {deaf.pid}, which has the lab of testbed quay, does not end\n"
            rf".*kill -KILL {deaf.pid}$",
        ):
            end_lab(lab_of(None))
        deaf.kill()


def test_a_look_inside_is_a_command_that_can_be_pasted() -> None:
    with hold_elsewhere() as holder:
        command = look_inside(lab_of(None), lab_programs(), "p1", ["tcpdump", "-ni", "p1"])
        holder.kill()

    assert command[:3] == ["nsenter", "--target", "4711"]
    assert command[-4:] == ["sh", "tcpdump", "-ni", "p1"]
    assert command[command.index("netns") + 2] == "p1"


def test_a_lock_can_be_given_back_twice() -> None:
    lock = LabLock("quay")
    lock.release()
    again = LabLock("quay")
    lock.release()

    assert [lab.testbed for lab in running_labs()] == ["quay"]
    again.release()


@pytest.mark.parametrize(("user", "folder"), [(0, "/run/qualify"), (4711, "/tmp/qualify-4711")])
def test_every_session_of_a_user_looks_into_the_same_folder(
    user: int, folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("QUALIFY_RUNTIME_DIR")
    monkeypatch.setattr(os, "geteuid", lambda: user)

    assert runtime_folder() == Path(folder)
