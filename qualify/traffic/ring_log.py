"""When every frame of a stream left, in a file that has no name: memory stays flat."""

import tempfile
from array import array
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

_FLUSH_AT = 8_192


class BatchLog:
    """Batches in order: the number of the first frame, and when it left."""

    def __init__(self) -> None:
        self._firsts = array("q")
        self._times_ns = array("q")
        self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115
        self.batches = 0

    def note(self, first: int, sent_ns: int) -> None:
        """Note one batch."""
        self._firsts.append(first)
        self._times_ns.append(sent_ns)
        if len(self._firsts) >= _FLUSH_AT:
            self._flush()

    def note_evenly(self, first: int, count: int, *, sent_ns: int, step_ns: int, each: int) -> None:
        """Note frames that left one ``step_ns`` after the other, ``each`` of them as one batch."""
        self._firsts.extend(range(first, first + count, each))
        self._times_ns.extend(sent_ns + behind * step_ns for behind in range(0, count, each))
        if len(self._firsts) >= _FLUSH_AT:
            self._flush()

    def read(self) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
        """Yield everything in pieces: first numbers and times, both of shape (n,)."""
        self._flush()
        self._file.seek(0)
        left = self.batches
        while left:
            # A piece was written as its first numbers, then its times.
            head = np.frombuffer(self._file.read(8), dtype=np.int64)
            size = int(head[0])
            piece = np.frombuffer(self._file.read(16 * size), dtype=np.int64).reshape(2, size)
            left -= size
            yield piece[0], piece[1]

    def close(self) -> None:
        """Give back the file."""
        self._file.close()

    def _flush(self) -> None:
        if not self._firsts:
            return
        size = len(self._firsts)
        self._file.write(
            array("q", [size]).tobytes() + self._firsts.tobytes() + self._times_ns.tobytes()
        )
        self.batches += size
        self._firsts = array("q")
        self._times_ns = array("q")
