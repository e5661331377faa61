"""What the workers hand over at the end, piece by piece, put together again."""

import tempfile
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from qualify.measure.arrivals import Arrivals
from qualify.measure.transmission import Transmission
from qualify.traffic.ring_account import read_arrivals
from qualify.traffic.ring_messages import (
    Message,
    PortAccount,
    ReceivedStream,
    SentBatches,
    SentStream,
    WorkerAccount,
)
from qualify.traffic.ring_pipe import Array


class Column:
    """Whole numbers in a file that has no name; they are read when somebody looks at them."""

    def __init__(self) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115

    def extend(self, numbers: NDArray[np.int64]) -> None:
        """Add numbers at the end."""
        self._file.write(numbers.tobytes())

    def finish(self) -> NDArray[np.int64]:
        """Return all of them; nothing can be added any more."""
        self._file.flush()
        size = self._file.tell() // np.dtype(np.int64).itemsize
        if not size:
            return np.empty(0, dtype=np.int64)
        return np.memmap(self._file, dtype=np.int64, mode="r", shape=(size,))

    def close(self) -> None:
        """Give back the file; what was returned stays as it is."""
        self._file.close()


class _Batches:
    """When the frames of one stream left, as far as it was handed over."""

    def __init__(self) -> None:
        self._firsts, self._times_ns = Column(), Column()

    def extend(self, firsts: NDArray[np.int64], times_ns: NDArray[np.int64]) -> None:
        self._firsts.extend(firsts)
        self._times_ns.extend(times_ns)

    def finish(self, sent_frames: int) -> Transmission:
        done = Transmission(sent_frames, self._firsts.finish(), self._times_ns.finish())
        self.close()
        self._firsts, self._times_ns = Column(), Column()
        return done

    def close(self) -> None:
        self._firsts.close()
        self._times_ns.close()


@dataclass(slots=True)
class Result:
    """Everything that was handed over, by position; see ring_messages."""

    transmissions: dict[int, Transmission] = field(default_factory=dict)
    sent: dict[int, SentStream] = field(default_factory=dict)
    arrivals: dict[int, Arrivals] = field(default_factory=dict)
    ports: dict[int, PortAccount] = field(default_factory=dict)
    workers: list[WorkerAccount] = field(default_factory=list)

    def take(self, pieces: Iterable[tuple[Message, tuple[Array, ...]]]) -> None:
        """Take everything that one worker hands over."""
        with closing(_Batches()) as batches:
            for message, arrays in pieces:
                self._take(message, arrays, batches)

    def _take(self, message: Message, arrays: tuple[Array, ...], batches: _Batches) -> None:
        if isinstance(message, SentBatches):
            batches.extend(*arrays)
        elif isinstance(message, SentStream):
            self.transmissions[message.position] = batches.finish(message.sent)
            self.sent[message.position] = message
        elif isinstance(message, ReceivedStream):
            self.arrivals[message.position] = read_arrivals(message, arrays)
        elif isinstance(message, PortAccount):
            self.ports[message.position] = message
        else:
            assert isinstance(message, WorkerAccount), f"{message} is no part of a result"
            self.workers.append(message)
