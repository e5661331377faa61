"""What the backend and its two workers say to each other over pipes.

A message is one line of JSON: the name of its class, its fields, and the lengths of the arrays
that follow the line, each in numpy's own file format. Nothing that is read can run code.
"""

import io
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from qualify.frames import Layout
from qualify.testbed.testbed import Headers

Array = NDArray[np.int64] | NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class SendJob:
    """What to send; the templates follow as arrays, heads and fill of each stream.

    ``ports`` holds, for each stream, the position of its sending port in ``interfaces``;
    ``headers``, ``vlans`` and ``sizes`` are those of each stream's templates.
    """

    interfaces: tuple[str, ...]
    namespaces: tuple[str | None, ...]
    ports: tuple[int, ...]
    rates_pps: tuple[int, ...]
    headers: tuple[str, ...]
    vlans: tuple[tuple[int, ...], ...]
    sizes: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class ReceiveJob:
    """What to receive; ``ports`` holds the position of the receiving port of each stream.

    ``headers`` and ``vlans`` are those of each stream.
    """

    interfaces: tuple[str, ...]
    namespaces: tuple[str | None, ...]
    streams: tuple[int, ...]
    ports: tuple[int, ...]
    headers: tuple[str, ...]
    vlans: tuple[tuple[int, ...], ...]
    run_id: int
    buffer_octets: int


@dataclass(frozen=True, slots=True)
class Start:
    """Begin; a receiver begins to count its drops."""


@dataclass(frozen=True, slots=True)
class Stop:
    """Send no more."""


@dataclass(frozen=True, slots=True)
class Collect:
    """Hand over everything."""


@dataclass(frozen=True, slots=True)
class Done:
    """The job or the order before this was carried out."""


@dataclass(frozen=True, slots=True)
class SendProgress:
    """Frames sent up to now, for each stream."""

    sent: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ReceiveProgress:
    """What arrived up to now, for each stream; see StreamCount."""

    received: tuple[int, ...]
    impaired_ns: tuple[int | None, ...]
    last_received_ns: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class Sent:
    """The sender's account; the transmit times follow as arrays, one for each stream.

    ``refused`` and ``latest_ns`` are by stream, ``without_link`` by port.
    """

    refused: tuple[int, ...]
    latest_ns: tuple[int, ...]
    without_link: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Received:
    """The receiver's account; numbers and times follow as arrays, two for each stream.

    Drops are by port, except ``backlog_drops``, which the machine does not tell by port.
    """

    socket_drops: tuple[int, ...]
    receive_drops: tuple[int | None, ...]
    send_drops: tuple[int | None, ...]
    backlog_drops: int | None
    foreign: int
    misdelivered: int


@dataclass(frozen=True, slots=True)
class Failed:
    """The worker cannot go on."""

    problem: str
    fix: str


Message = (
    SendJob
    | ReceiveJob
    | Start
    | Stop
    | Collect
    | Done
    | SendProgress
    | ReceiveProgress
    | Sent
    | Received
    | Failed
)
_KINDS: dict[str, type[Message]] = {kind.__name__: kind for kind in Message.__args__}


def read_layouts(job: SendJob | ReceiveJob) -> list[Layout]:
    """Return the layout of each stream of a job."""
    return [
        Layout(Headers(headers), vlans)
        for headers, vlans in zip(job.headers, job.vlans, strict=True)
    ]


def write_message(pipe: IO[bytes], message: Message, arrays: Sequence[Array] = ()) -> None:
    """Write a message and the arrays that belong to it."""
    blocks = [_pack(array) for array in arrays]
    line = {
        "message": type(message).__name__,
        "fields": asdict(message),
        "octets": [len(block) for block in blocks],
    }
    pipe.write(json.dumps(line).encode() + b"\n" + b"".join(blocks))
    pipe.flush()


def read_message(pipe: IO[bytes]) -> tuple[Message, tuple[Array, ...]] | None:
    """Read a message and its arrays; ``None`` when the other side closed the pipe."""
    line = pipe.readline()
    if not line.endswith(b"\n"):
        return None
    said: dict[str, Any] = json.loads(line)
    fields = {name: _freeze(value) for name, value in said["fields"].items()}
    arrays = [_read_array(pipe, octets) for octets in said["octets"]]
    complete = tuple(array for array in arrays if array is not None)
    if len(complete) < len(arrays):
        return None
    return _KINDS[said["message"]](**fields), complete


def _freeze(value: Any) -> Any:  # noqa: ANN401 (JSON)
    return tuple(map(_freeze, value)) if isinstance(value, list) else value


def _pack(array: Array) -> bytes:
    block = io.BytesIO()
    np.save(block, array, allow_pickle=False)
    return block.getvalue()


def _read_array(pipe: IO[bytes], octets: int) -> Array | None:
    block = bytearray()
    while len(block) < octets:
        piece = pipe.read(octets - len(block))
        if not piece:
            return None
        block += piece
    array: Array = np.load(io.BytesIO(block), allow_pickle=False)
    return array
