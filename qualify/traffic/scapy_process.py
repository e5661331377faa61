"""The owner's side of a worker: a process of ours, what it was asked, and what it answered."""

import queue
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from threading import Thread
from typing import IO, TypeVar

from qualify.errors import TrafficError
from qualify.site import Site
from qualify.traffic.scapy_messages import (
    Array,
    Failed,
    Message,
    ReceiveProgress,
    SendProgress,
    read_message,
    write_message,
)

ANSWER_TIMEOUT_S = 60.0
END_TIMEOUT_S = 3.0

M = TypeVar("M", bound=Message)
_Answer = tuple[Message, tuple[Array, ...]]


class WorkerProcess:
    """A running worker; ``role`` is ``send`` or ``receive``.

    A thread reads everything that the worker says, so that it never waits for us.
    """

    def __init__(self, role: str, site: Site) -> None:
        self._role = role
        self.process = _spawn(role, site)
        assert self.process.stdin is not None, "started with pipes"
        assert self.process.stdout is not None, "started with pipes"
        self._stdin, self._stdout = self.process.stdin, self.process.stdout
        self._progress: SendProgress | ReceiveProgress | None = None
        self._answers: queue.SimpleQueue[_Answer | None] = queue.SimpleQueue()
        self._end: TrafficError | None = None
        self._reader = Thread(target=self._read, args=(self._stdout,), daemon=True)
        self._reader.start()

    def ask(
        self, question: Message, arrays: Sequence[Array] = (), *, answer: type[M]
    ) -> tuple[M, tuple[Array, ...]]:
        """Send a message and return the answer, with its arrays.

        Raises:
            TrafficError: the worker failed, ended, or did not answer in time.
        """
        self.check()
        with suppress(BrokenPipeError):  # a worker that is gone has left its reason
            write_message(self._stdin, question, arrays)
        try:
            said = self._answers.get(timeout=ANSWER_TIMEOUT_S)
        except queue.Empty as late:
            raise TrafficError(
                f"the worker that should {self._role} frames did not answer",
                fix="look at the load of this machine and try again",
            ) from late
        self.check()
        if said is None or not isinstance(said[0], answer):
            raise AssertionError(f"{said} is no answer to {question}")
        return said[0], said[1]

    def progress(self, kind: type[M]) -> M | None:
        """Return the newest report; ``None`` before the first.

        Raises:
            TrafficError: the worker failed or ended.
        """
        self.check()
        return self._progress if isinstance(self._progress, kind) else None

    def check(self) -> None:
        """Raise what the worker ended with, if it did."""
        if self._end is not None:
            raise self._end

    def close(self) -> None:
        """Let the worker end, at once or by force; safe more than once."""
        if not self._stdin.closed:
            with suppress(BrokenPipeError):  # what was still to be written no longer matters
                self._stdin.close()
        for insist in (self.process.terminate, self.process.kill):
            try:
                self.process.wait(END_TIMEOUT_S)
                break
            except subprocess.TimeoutExpired:
                insist()
        self.process.wait()
        self._reader.join(END_TIMEOUT_S)
        self._stdout.close()

    def _read(self, pipe: IO[bytes]) -> None:
        while (said := read_message(pipe)) is not None:
            message = said[0]
            if isinstance(message, SendProgress | ReceiveProgress):
                self._progress = message
            elif isinstance(message, Failed):
                self._end = TrafficError(message.problem, fix=message.fix)
                self._answers.put(None)
            else:
                self._answers.put(said)
        if self._end is None:
            self._end = TrafficError(
                f"the worker that should {self._role} frames ended",
                fix="see what it wrote above; if nothing, try again",
            )
        self._answers.put(None)


def _spawn(role: str, site: Site) -> "subprocess.Popen[bytes]":
    # -P: nothing in the working folder can stand in for a module of ours.
    command = (sys.executable, "-P", "-m", "qualify.traffic.scapy_worker", role)
    if site.lab is not None:
        return site.lab.spawn(*command)
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True
    )
