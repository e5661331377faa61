"""A receive ring that the kernel fills and we read in place: TPACKET_V3, one port, one layout.

Every record is cut to the same length, so all records of a block lie at equal distances and one
strided view reads a field of all of them at once.
"""

import mmap
import socket
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from qualify.errors import TrafficError
from qualify.frames import Layout, our_frame_filter
from qualify.frames.layout import RUN_ID, SENT_MODULUS, STREAM
from qualify.traffic.packet_sockets import (
    ETH_P_ALL,
    attach_filter,
    ignore_outgoing,
    read_statistics,
    receive_everything,
)
from qualify.traffic.ring_ports import at_port
from qualify.units import NS_PER_S

BLOCK_OCTETS = 1 << 18
FEWEST_BLOCKS = 2
# A block that is not full is handed over after so long.
BLOCK_TIMEOUT_MS = 20

_SOL_PACKET = 263
_PACKET_VERSION, _TPACKET_V3 = 10, 2
_PACKET_RX_RING = 5
_FRAME_OCTETS = 256
_HANDED_OVER = 1
# struct tpacket_block_desc: status, number of records and offset of the first one.
_STATUS_WORD, _COUNT_WORD, _FIRST_WORD = 2, 3, 4
_WORD_OCTETS = 4
# struct tpacket3_hdr: distance to the next record, seconds, nanoseconds, offset of the frame.
_NEXT_AT, _SECONDS_AT, _NANOSECONDS_AT, _FRAME_AT = 0, 4, 8, 24


@dataclass(frozen=True, slots=True)
class Records:
    """What a block says about the frames in it, in order of arrival, each of shape (n,).

    ``number`` is modulo 2^32; ``sent_ns`` and ``received_ns`` are CLOCK_REALTIME.
    """

    run_id: NDArray[np.uint32]
    stream: NDArray[np.uint16]
    number: NDArray[np.uint32]
    sent_ns: NDArray[np.int64]
    received_ns: NDArray[np.int64]

    def pick(self, rows: NDArray[np.int64]) -> "Records":
        """Return some of the records."""
        return Records(
            self.run_id[rows],
            self.stream[rows],
            self.number[rows],
            self.sent_ns[rows],
            self.received_ns[rows],
        )


class ReceiveRing:
    """The ring of one port for the test frames whose payload is at one place.

    Those of other runs come as well: a second socket that only counted them would cost every
    frame a tenth of its way.

    Args:
        interface: the port.
        namespace: file of the network namespace that holds it.
        layouts: in which they were sent; their payloads arrive at the same offset.
        octets: how much memory to take.
    """

    def __init__(
        self,
        interface: str,
        namespace: Path | None,
        *,
        layouts: tuple[Layout, ...],
        octets: int,
    ) -> None:
        self._layout = layouts[0].received
        self._blocks = max(FEWEST_BLOCKS, octets // BLOCK_OCTETS)
        self._next = 0
        with at_port(interface, namespace):
            self.socket = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
            try:
                attach_filter(self.socket, our_frame_filter(None, layouts))
                ignore_outgoing(self.socket)
                self._ring = self._map()
                # Binding comes last: the ring never holds a frame that did not pass the filter.
                self.socket.bind((interface, ETH_P_ALL))
                receive_everything(self.socket, socket.if_nametoindex(interface))
            except BaseException:
                self.socket.close()
                raise
        self._words = memoryview(self._ring).cast("I")
        self.drops = 0

    def has_block(self) -> bool:
        """Tell whether the kernel has handed over a block."""
        return bool(self._words[self._word(_STATUS_WORD)] & _HANDED_OVER)

    def take_block(self) -> Records:
        """Read the block that was handed over, and give it back to the kernel."""
        count = self._words[self._word(_COUNT_WORD)]
        first = self._next * BLOCK_OCTETS + self._words[self._word(_FIRST_WORD)]
        records = self._read(first, count)
        self._words[self._word(_STATUS_WORD)] = 0
        self._next = (self._next + 1) % self._blocks
        return records

    def count_drops(self) -> int:
        """Return how many frames found the ring full since ``forget_drops``."""
        self.drops += read_statistics(self.socket)[1]
        return self.drops

    def forget_drops(self) -> None:
        """Begin to count anew."""
        read_statistics(self.socket)
        self.drops = 0

    def close(self) -> None:
        """Give back ring and socket."""
        self._words.release()
        self._ring.close()
        self.socket.close()

    def _map(self) -> mmap.mmap:
        self.socket.setsockopt(_SOL_PACKET, _PACKET_VERSION, _TPACKET_V3)
        octets = self._blocks * BLOCK_OCTETS
        frames = octets // _FRAME_OCTETS
        shape = (BLOCK_OCTETS, self._blocks, _FRAME_OCTETS, frames, BLOCK_TIMEOUT_MS, 0, 0)
        self.socket.setsockopt(_SOL_PACKET, _PACKET_RX_RING, struct.pack("7I", *shape))
        return mmap.mmap(self.socket.fileno(), octets)

    def _word(self, word: int) -> int:
        return self._next * (BLOCK_OCTETS // _WORD_OCTETS) + word

    def _read(self, first: int, count: int) -> Records:
        stride, frame = self._words[first // _WORD_OCTETS] or _FRAME_OCTETS, self._frame_at(first)
        # The last record of a block has no next one.
        steps = self._column(first + _NEXT_AT, "u4", max(0, count - 1), stride)
        if (steps != stride).any():
            raise TrafficError(
                "the kernel delivered test frames of different lengths into one ring",
                fix="keep the capture of this port and report it: the instrument is wrong",
            )
        at = first + frame
        seconds = self._column(first + _SECONDS_AT, "u4", count, stride).astype(np.int64)
        received_ns = seconds * NS_PER_S
        received_ns += self._column(first + _NANOSECONDS_AT, "u4", count, stride)
        payload_at = at + self._layout.payload_at
        return Records(
            run_id=self._column(payload_at + RUN_ID, ">u4", count, stride).astype(np.uint32),
            stream=self._column(payload_at + STREAM, ">u2", count, stride).astype(np.uint16),
            number=self._column(at + self._layout.number_at, ">u4", count, stride).astype(
                np.uint32
            ),
            sent_ns=self._sent_ns(at, count, stride, received_ns),
            received_ns=received_ns,
        )

    def _sent_ns(
        self, at: int, count: int, stride: int, received_ns: NDArray[np.int64]
    ) -> NDArray[np.int64]:
        """Complete the transmit times: of all that end in these 48 bits, the nearest one."""
        # The word of 8 octets ends with the time; what comes before it falls out of the modulus.
        stamps = self._column(at + self._layout.sent_at - 2, ">u8", count, stride)
        delay_ns = received_ns - stamps.astype(np.int64)
        delay_ns += SENT_MODULUS // 2
        delay_ns &= SENT_MODULUS - 1
        delay_ns -= SENT_MODULUS // 2
        sent_ns: NDArray[np.int64] = received_ns - delay_ns
        return sent_ns

    def _frame_at(self, first: int) -> int:
        return self._words[(first + _FRAME_AT) // _WORD_OCTETS] & 0xFFFF

    def _column(self, at: int, kind: str, count: int, stride: int) -> NDArray[np.uint64]:
        return np.ndarray((count,), kind, self._ring, offset=at, strides=(stride,))
