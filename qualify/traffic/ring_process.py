"""The owner's side of a worker: a process of ours, what it was asked, and what it answered."""

import queue
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from threading import Thread
from typing import IO, TypeVar

from qualify.errors import TrafficError
from qualify.site import Site
from qualify.traffic.ring_messages import Collect, Failed, Message, Progress, WorkerAccount
from qualify.traffic.ring_pipe import Array, read_message, write_message

ANSWER_TIMEOUT_S = 60.0
END_TIMEOUT_S = 3.0

M = TypeVar("M", bound=Message)
_Answer = tuple[Message, tuple[Array, ...]]


class WorkerProcess:
    """A running worker for the ports of that name.

    A thread reads everything that the worker says, so that it never waits for us.
    """

    def __init__(self, ports: Sequence[str], site: Site) -> None:
        self.ports = tuple(ports)
        self.process = _spawn(site)
        assert self.process.stdin is not None, "started with pipes"
        assert self.process.stdout is not None, "started with pipes"
        self._stdin, self._stdout = self.process.stdin, self.process.stdout
        self._progress: Progress | None = None
        self._answers: queue.SimpleQueue[_Answer | None] = queue.SimpleQueue()
        self._end: TrafficError | None = None
        self._reader = Thread(target=self._read, args=(self._stdout,), daemon=True)
        self._reader.start()

    def tell(self, message: Message, arrays: Sequence[Array] = ()) -> None:
        """Send a message; ``answer`` brings what the worker says to it.

        Raises:
            TrafficError: the worker failed or ended.
        """
        self.check()
        with suppress(BrokenPipeError):  # a worker that is gone has left its reason
            write_message(self._stdin, message, arrays)

    def answer(self) -> _Answer:
        """Wait for the answer to the oldest message that has none.

        Raises:
            TrafficError: the worker failed, ended, or did not answer in time.
        """
        try:
            said = self._answers.get(timeout=ANSWER_TIMEOUT_S)
        except queue.Empty as late:
            raise TrafficError(
                f"the worker of port {', '.join(self.ports)} did not answer",
                fix="look at the load of this machine and try again",
            ) from late
        self.check()
        assert said is not None, "only a worker that ended gives no answer"
        return said

    def collect(self) -> Iterator[_Answer]:
        """Ask for the result and yield it piece by piece, so that it never is in memory at once.

        Raises:
            TrafficError: the worker failed, ended, or did not answer in time.
        """
        message: Message | None = None
        while not isinstance(message, WorkerAccount):
            self.tell(Collect())
            message, arrays = self.answer()
            yield message, arrays

    def progress(self) -> Progress | None:
        """Return the newest report; ``None`` before the first.

        Raises:
            TrafficError: the worker failed or ended.
        """
        self.check()
        return self._progress

    def check(self) -> None:
        """Raise what the worker ended with, if it did."""
        if self._end is not None:
            raise self._end

    def hang_up(self) -> None:
        """Let the worker end; it sends no more frames from here on."""
        if not self._stdin.closed:
            with suppress(BrokenPipeError):  # what was still to be written no longer matters
                self._stdin.close()

    def close(self) -> None:
        """Wait until the worker has ended, at once or by force; safe more than once."""
        self.hang_up()
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
            if isinstance(message, Progress):
                self._progress = message
            elif isinstance(message, Failed):
                self._end = TrafficError(message.problem, fix=message.fix)
                self._answers.put(None)
            else:
                self._answers.put(said)
        if self._end is None:
            self._end = TrafficError(
                f"the worker of port {', '.join(self.ports)} ended",
                fix="see what it wrote above; if nothing, try again",
            )
        self._answers.put(None)


def _spawn(site: Site) -> "subprocess.Popen[bytes]":
    # -P: nothing in the working folder can stand in for a module of ours.
    command = (sys.executable, "-P", "-m", "qualify.traffic.ring_worker")
    if site.lab is not None:
        return site.lab.spawn(*command)
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True
    )
