"""Working inside a network namespace for a moment; what was opened there stays there."""

import ctypes
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from qualify.errors import TrafficError

_CLONE_NEWNET = 0x40000000
_OWN = Path("/proc/thread-self/ns/net")
_libc = ctypes.CDLL(None, use_errno=True)


@contextmanager
def in_namespace(file: Path | None) -> Iterator[None]:
    """Put the calling thread into a network namespace while the block runs.

    Sockets and files of ``/proc/thread-self/net`` opened inside keep their namespace, so one
    process can serve ports in many. ``None`` stays where the thread is.

    Raises:
        TrafficError: the namespace is not there or must not be entered.
    """
    if file is None:
        yield
        return
    own = os.open(_OWN, os.O_RDONLY)
    try:
        _enter(file)
        try:
            yield
        finally:
            _set_namespace(own)
    finally:
        os.close(own)


def as_seen_inside(file: Path) -> PurePosixPath:
    """Return where a process inside the lab finds a namespace: ``/proc/N/root`` is its root."""
    parts = file.parts
    if len(parts) > 4 and parts[1] == "proc" and parts[3] == "root":  # noqa: PLR2004
        return PurePosixPath("/", *parts[4:])
    return PurePosixPath(file)


def _enter(file: Path) -> None:
    try:
        target = os.open(file, os.O_RDONLY)
    except OSError as failure:
        raise TrafficError(
            f"the network namespace {file} cannot be opened: {failure.strerror}",
            fix="bring the lab up first: qualify lab up",
        ) from failure
    try:
        _set_namespace(target)
    except OSError as failure:
        raise TrafficError(
            f"the network namespace {file} cannot be entered: {failure.strerror}",
            fix="run as root, or inside the lab",
        ) from failure
    finally:
        os.close(target)


def _set_namespace(descriptor: int) -> None:
    # os.setns came with Python 3.12.
    if _libc.setns(descriptor, _CLONE_NEWNET) != 0:
        error = ctypes.get_errno()
        raise OSError(error, os.strerror(error))
