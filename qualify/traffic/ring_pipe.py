"""Messages over a pipe: a line of JSON, then the arrays that belong to it.

The line holds the name of the message's class, its fields, and the lengths of the arrays, each in
numpy's own file format. Nothing that is read can run code.
"""

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from qualify.traffic.ring_messages import KINDS, Message

Array = NDArray[Any]


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
    arrays = [_read_array(pipe, octets) for octets in said["octets"]]
    complete = tuple(array for array in arrays if array is not None)
    if len(complete) < len(arrays):
        return None
    return _build(said["message"], said["fields"]), complete


def _build(name: str, fields: Mapping[str, Any]) -> Message:
    return KINDS[name](**{field: _revive(field, value) for field, value in fields.items()})


def _revive(field: str, value: Any) -> Any:  # noqa: ANN401 (JSON)
    """Turn lists back into tuples, and objects into the kind that stands in that field."""
    if isinstance(value, list):
        return tuple(_revive(field, each) for each in value)
    if isinstance(value, dict):
        return _build(field, value)
    return value


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
