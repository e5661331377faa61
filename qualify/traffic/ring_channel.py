"""A worker's end of the two pipes to its owner."""

import os
import select
import sys
from collections.abc import Sequence
from typing import IO, Self, TypeVar

from qualify.errors import TrafficError
from qualify.traffic.ring_messages import Message
from qualify.traffic.ring_pipe import Array, read_message, write_message

M = TypeVar("M", bound=Message)


class OwnerGoneError(Exception):
    """The owner closed the pipe or died; the worker has nothing more to do."""


class Channel:
    """Messages from the owner, and back to it.

    The incoming pipe is not buffered, so that waiting for it with select sees every message.
    """

    def __init__(self, incoming: IO[bytes], outgoing: IO[bytes]) -> None:
        self._incoming = incoming
        self._outgoing = outgoing

    @classmethod
    def to_owner(cls) -> Self:
        """Take over standard input and output; what others print goes to standard error."""
        outgoing = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
        os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
        return cls(os.fdopen(os.dup(sys.stdin.fileno()), "rb", buffering=0), outgoing)

    def tell(self, message: Message, arrays: Sequence[Array] = ()) -> None:
        """Send a message to the owner.

        Raises:
            OwnerGoneError: nobody is there.
        """
        try:
            write_message(self._outgoing, message, arrays)
        except BrokenPipeError as gone:
            raise OwnerGoneError from gone

    def has_message(self) -> bool:
        """Tell whether a message waits; an owner that is gone counts as one."""
        return bool(select.select([self._incoming], [], [], 0)[0])

    def listen(self) -> tuple[Message, tuple[Array, ...]]:
        """Wait for the next message.

        Raises:
            OwnerGoneError: the owner closed the pipe.
        """
        said = read_message(self._incoming)
        if said is None:
            raise OwnerGoneError
        return said

    def expect(self, kind: type[M]) -> tuple[M, tuple[Array, ...]]:
        """Wait for the next message, which must be of that kind.

        Raises:
            OwnerGoneError: the owner closed the pipe.
            TrafficError: the owner sent something else.
        """
        message, arrays = self.listen()
        if not isinstance(message, kind):
            raise TrafficError(
                f"a traffic worker was told {type(message).__name__} instead of {kind.__name__}",
                fix="call open, start, stop, collect and close in this order",
            )
        return message, arrays

    def await_end(self) -> None:
        """Wait until the owner closes the pipe."""
        while self._incoming.read(4096):
            pass
