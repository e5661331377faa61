"""One process tree with its own mounts, networks and process numbers; it ends with its owner.

The first process inside waits for the end of a pipe whose other end only the owner holds. When
the owner closes it, or dies in whatever way, the first process ends; then the kernel ends every
other process inside and frees every network namespace and mount. Nothing of it was ever visible
outside, so nothing can be left behind.
"""

import contextlib
import os
import select
import shlex
import subprocess
import time
from pathlib import Path
from subprocess import Popen

from qualify.errors import LabError

START_TIMEOUT_S = 10
END_TIMEOUT_S = 20
_PRINTABLE_INPUT = 2_000
UNSHARE = ("unshare", "--mount", "--net", "--pid", "--fork", "--kill-child", "--mount-proc")

# Some programs insist on a user of their own. Inside, each is given one with the number 0, so that
# nothing needs a second user and an ordinary user's namespace would do.
_FIRST_PROCESS = """
set -e
mount -t tmpfs -o mode=0755 lab /run
mount -t tmpfs -o mode=1777 lab /var/tmp
mkdir -p /run/netns /run/lab
{ grep -v -e '^frr:' -e '^tcpdump:' /etc/passwd
  echo 'frr:x:0:0::/:/bin/false'; echo 'tcpdump:x:0:0::/:/bin/false'; } > /run/lab/passwd
{ grep -v -e '^frr' -e '^tcpdump:' /etc/group
  echo 'frr:x:0:'; echo 'frrvty:x:0:'; echo 'tcpdump:x:0:'; } > /run/lab/group
mount --bind /run/lab/passwd /etc/passwd
mount --bind /run/lab/group /etc/group
echo ready
# Processes that lose their parent are inherited here; ignoring their end lets none linger.
exec env --ignore-signal=CHLD cat > /dev/null
"""


class Enclosure:
    """The process tree of one lab, built at once and removed by ``close``."""

    def __init__(self) -> None:
        self._tree = Popen(
            [*UNSHARE, "sh", "-c", _FIRST_PROCESS],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
        try:
            self._await_ready()
            self.first_process = _child_of(self._tree.pid)
        except BaseException:
            self.close()
            raise

    @property
    def root(self) -> Path:
        """The file system as it is inside, seen from outside."""
        return Path(f"/proc/{self.first_process}/root")

    def run(self, *command: str, stdin: str = "", timeout_s: float = 20) -> str:
        """Run a command inside and return what it printed.

        Raises:
            LabError: it failed or took too long; the error shows it, ready to be pasted.
        """
        return run_command(
            enter_command(self.first_process, *command), stdin=stdin, timeout_s=timeout_s
        )

    def spawn(self, *command: str) -> "Popen[bytes]":
        """Start a process inside, with pipes to its input and output.

        It ends when the enclosure ends, and also when the returned process is killed.
        """
        return Popen(
            enter_command(self.first_process, *command),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )

    def close(self) -> None:
        """End every process inside and wait until all of them are gone; safe more than once."""
        for pipe in (self._tree.stdin, self._tree.stdout, self._tree.stderr):
            if pipe is not None:
                pipe.close()
        try:
            self._tree.wait(END_TIMEOUT_S)
        except subprocess.TimeoutExpired:
            self._tree.kill()
            self._tree.wait()

    def _await_ready(self) -> None:
        """Wait until the first process has prepared its mounts."""
        assert self._tree.stdout is not None
        assert self._tree.stderr is not None
        readable, _, _ = select.select([self._tree.stdout], [], [], START_TIMEOUT_S)
        if not readable or self._tree.stdout.readline() != b"ready\n":
            self._tree.kill()
            words = self._tree.stderr.read().decode(errors="replace").strip() or "no answer"
            raise LabError(
                f"this machine does not let the lab have its own namespaces: {words}",
                fix="run as root, outside a container that forbids unshare and mount",
            )


def enter_command(first_process: int, *command: str) -> list[str]:
    """Return the command that runs another one inside the enclosure of that first process."""
    # --root: where this machine is itself a folder (chroot), the mounts alone lead out of it.
    enter = ["nsenter", "--target", str(first_process), "--root", "--wd"]
    enter += ["--mount", "--net", "--pid"]
    return [*enter, "setpriv", "--pdeathsig", "KILL", "--", *command]


def run_command(command: list[str], *, stdin: str, timeout_s: float) -> str:
    """Run a command and return what it printed.

    Raises:
        LabError: it failed or took too long.
    """
    try:
        done = subprocess.run(
            command, input=stdin, capture_output=True, text=True, check=False, timeout=timeout_s
        )
    except subprocess.TimeoutExpired as late:
        raise LabError(
            f"a command in the lab was not done after {timeout_s:g} s",
            fix=f"try it by hand while the lab is up: {paste(command, stdin)}",
        ) from late
    if done.returncode != 0:
        said = (done.stderr + done.stdout).strip() or "it said nothing"
        raise LabError(
            f"a command in the lab ended with {done.returncode}: {said}",
            fix=f"try it by hand while the lab is up: {paste(command, stdin)}",
        )
    return done.stdout


def paste(command: list[str], stdin: str) -> str:
    """Write a command as it can be pasted into a shell."""
    line = shlex.join(command)
    if not stdin:
        return line
    return f"printf %s {shlex.quote(stdin[:_PRINTABLE_INPUT])} | {line}"


def _child_of(parent: int) -> int:
    """Return the process number of the only child of a process."""
    deadline = time.monotonic() + START_TIMEOUT_S
    while time.monotonic() < deadline:
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit() and _parent_of(entry) == parent:
                return int(entry.name)
    raise LabError(
        "the first process of the lab ended before it was found",
        fix="look at the machine's messages (dmesg) and try again",
    )


def _parent_of(process: Path) -> int | None:
    with contextlib.suppress(OSError):
        # The name in brackets may hold spaces; the parent is the second field after it.
        return int((process / "stat").read_text().rpartition(")")[2].split()[1])
    return None


def send_signal(process: int, number: int) -> None:
    """Signal a process that may have ended already."""
    with contextlib.suppress(ProcessLookupError):
        os.kill(process, number)
