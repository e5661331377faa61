"""One lab for each testbed, user and machine: a lock file that names its holder.

The lock is the kernel's and ends with its holder; the file only tells who that is. A file whose
holder died is removed by whoever meets it next.
"""

import fcntl
import json
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from qualify.errors import LabError


@dataclass(frozen=True, slots=True)
class RunningLab:
    """A lab that is up, or being built (then ``first_process`` is ``None``).

    ``owner`` is the process that ends it; ``first_process`` the first one inside it.
    """

    testbed: str
    owner: int
    started: str
    first_process: int | None
    namespaces: tuple[str, ...]


def runtime_folder() -> Path:
    """Return the folder of this user's lock files; it exists only while a lab is up.

    It is the same for every session of a user, however it was opened; ``QUALIFY_RUNTIME_DIR``
    names another one.
    """
    given = os.environ.get("QUALIFY_RUNTIME_DIR")
    if given:
        return Path(given)
    user = os.geteuid()
    if user == 0:
        return Path("/run/qualify")
    of_user = Path(f"/run/user/{user}")
    return of_user / "qualify" if of_user.is_dir() else Path(f"/tmp/qualify-{user}")


class LabLock:
    """The right to have the lab of one testbed, held until ``release``.

    Raises:
        LabError: somebody else holds it; the error says who.
    """

    def __init__(self, testbed: str) -> None:
        self._testbed = testbed
        self._started = time.strftime("%Y-%m-%d %H:%M:%S")
        self._file = runtime_folder() / f"{testbed}.lab"
        self._descriptor: int | None = self._take()
        self.tell(first_process=None, namespaces=())

    def tell(self, *, first_process: int | None, namespaces: tuple[str, ...]) -> None:
        """Write into the file what the lab is now."""
        lab = RunningLab(self._testbed, os.getpid(), self._started, first_process, namespaces)
        text = json.dumps(asdict(lab)).encode()
        if self._descriptor is not None:
            os.pwrite(self._descriptor, text, 0)
            os.ftruncate(self._descriptor, len(text))

    def release(self) -> None:
        """Give the right back and leave no file behind; safe more than once."""
        if self._descriptor is None:
            return
        self._file.unlink(missing_ok=True)
        os.close(self._descriptor)
        self._descriptor = None
        with suppress(OSError):
            self._file.parent.rmdir()

    def _take(self) -> int:
        while True:
            self._file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            try:
                descriptor = os.open(self._file, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            except FileNotFoundError:
                continue  # the last holder removed the empty folder in this moment
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                holder = _read(descriptor)
                os.close(descriptor)
                raise self._refusal(holder) from None
            if _is_still_there(descriptor, self._file):
                return descriptor
            os.close(descriptor)

    def _refusal(self, holder: RunningLab | None) -> LabError:
        who = f"process {holder.owner} since {holder.started}" if holder else "another process"
        return LabError(
            f"the lab of testbed {self._testbed} is in use by {who}",
            fix="wait for it, or end it: qualify lab down",
        )


def running_labs() -> tuple[RunningLab, ...]:
    """Find this user's labs; files of dead owners are removed on the way."""
    folder = runtime_folder()
    if not folder.is_dir():
        return ()
    found = [lab for file in sorted(folder.glob("*.lab")) for lab in _holder_of(file)]
    with suppress(OSError):
        folder.rmdir()
    return tuple(found)


def _holder_of(file: Path) -> Iterator[RunningLab]:
    """Yield the lab behind a lock file, unless its owner is dead."""
    with _opened(file) as descriptor:
        if descriptor is None:
            return
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lab = _read(descriptor)
            if lab is not None:
                yield lab
        else:
            if _is_still_there(descriptor, file):
                file.unlink()


@contextmanager
def _opened(file: Path) -> Iterator[int | None]:
    try:
        descriptor = os.open(file, os.O_RDWR | os.O_CLOEXEC)
    except FileNotFoundError:
        yield None
        return
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def _is_still_there(descriptor: int, file: Path) -> bool:
    """Tell whether the locked file is the one that the name leads to, not a removed one."""
    with suppress(FileNotFoundError):
        return os.fstat(descriptor).st_ino == file.stat().st_ino
    return False


def _read(descriptor: int) -> RunningLab | None:
    """Read a holder's words; ``None`` while they are being written."""
    with suppress(ValueError, KeyError, TypeError):
        told = json.loads(os.pread(descriptor, 65536, 0))
        return RunningLab(**{**told, "namespaces": tuple(told["namespaces"])})
    return None
