"""Frames ready to leave: slots in memory whose numbers and times are written just in time."""

import ctypes
from math import lcm

import numpy as np
from numpy.typing import NDArray

from qualify.frames import Templates
from qualify.frames.layout import SENT_MODULUS

# A call for fewer costs more for each frame: what Python needs between two calls is no longer in
# the processor's cache after one.
USUAL_BATCH = 512
LARGEST_BATCH = 2 * USUAL_BATCH
# Numbers are written into about so many slots at once.
NUMBERED_AHEAD = 512
# So few frames are stamped one by one.
FEW = 4
_CHECKSUM_MODULUS = 0xFFFF
_MODULUS, _ONE = np.uint64(_CHECKSUM_MODULUS), np.uint64(1)
_SENT_OCTETS = 6
_TIME_OCTETS, _ADDRESS = 8, ctypes.sizeof(ctypes.c_void_p)
# struct mmsghdr: name, name length, iovec, their number, control, its length, flags, sent length.
_MESSAGE_WORDS, _IOVEC_WORD, _COUNT_WORD = 8, 2, 3
MESSAGE_OCTETS = _MESSAGE_WORDS * _ADDRESS


class FrameSlots:
    """The heads of a stream, one slot after the other, and what sendmmsg needs to send them.

    Frame n lies in slot ``n % slots``; the number of slots is a multiple of destinations and of
    sizes, so that a slot always holds the same head. What follows the head in a larger frame is
    the same for all of them and exists once.

    Numbers are written far ahead. The checksum then only has to follow the time: ones' complement
    arithmetic is arithmetic modulo 65 535 (RFC 1624), so it is what the checksum is for time zero,
    less the time.
    """

    def __init__(self, templates: Templates) -> None:
        layout = templates.layout
        self._slots = _cycle(templates)
        # Equal parts of the cycle: no batch is the small rest of one.
        self._batch = -(-self._slots // max(1, self._slots // USUAL_BATCH))
        self._ahead = max(1, NUMBERED_AHEAD // self._batch) * self._batch
        self._head_octets = -(-layout.payload_end // _TIME_OCTETS) * _TIME_OCTETS
        rows = np.arange(self._slots)
        size, destination = rows % len(templates.sizes), rows % templates.destinations
        self._heads = np.zeros((self._slots, self._head_octets), dtype=np.uint8)
        self._heads[:, : layout.payload_end] = templates.heads[size, destination]
        self._fill = templates.fill.copy()
        self._ascending = np.arange(self._ahead, dtype=np.uint64)
        # The low half of the number and the time are neighbors: one word of 8 octets.
        self._low = self._view(layout.sent_at - 2, ">u8")
        self._high = self._view(layout.number_at, ">u2")
        self._sent_at, self._checksum_at = layout.sent_at, layout.udp_checksum_at
        self._octets = self._heads.reshape(-1).data
        self._steps, self._step_ns = self._ascending, 1
        self._checksum: NDArray[np.uint16] | None = None
        if layout.udp_checksum_at is not None:
            self._checksum = self._view(layout.udp_checksum_at, ">u2")
            self._unnumbered_sum = self._checksum.astype(np.uint64)
            self._timeless_sum = self._unnumbered_sum.copy()
        self._low_number = np.zeros(self._slots, dtype=np.uint64)
        self._numbered = 0
        self._iovecs, self._messages = self._describe(templates, size)
        self._address = self._messages.ctypes.data

    def stamp(self, first: int, count: int, *, sent_ns: int, step_ns: int) -> int:
        """Write numbers and times into the next slots.

        Args:
            first: number of the first frame.
            count: how many frames at most.
            sent_ns: when the first one leaves, CLOCK_REALTIME.
            step_ns: how much later each of the others leaves.

        Returns:
            How many slots are ready: their messages lie behind one another.
        """
        slot = first % self._slots
        if first >= self._numbered:
            self._number(first, slot)
        ready = min(count, self._batch, self._numbered - first)
        # Just before the field of the time overflows, every 78 hours, time stands still.
        start = min(sent_ns % SENT_MODULUS, SENT_MODULUS - 1 - ready * step_ns)
        if ready <= FEW:
            for row in range(slot, slot + ready):
                self._stamp_one(row, start)
                start += step_ns
        else:
            self._stamp_many(slice(slot, slot + ready), start, step_ns)
        return ready

    def address(self, first: int) -> int:
        """Return where the message of a frame lies."""
        return self._address + first % self._slots * MESSAGE_OCTETS

    def _stamp_many(self, slots: slice, start: int, step_ns: int) -> None:
        if step_ns != self._step_ns:
            self._step_ns = step_ns
            self._steps = self._ascending * np.uint64(step_ns)
        times = self._steps[: slots.stop - slots.start] + np.uint64(start)
        self._low[slots] = self._low_number[slots] | times
        if self._checksum is not None:
            fresh = self._timeless_sum[slots] - times
            fresh %= _MODULUS
            fresh += _ONE
            self._checksum[slots] = fresh

    def _stamp_one(self, slot: int, sent_ns: int) -> None:
        """Do the same without numpy, which takes as long for one as for fifty."""
        at = slot * self._head_octets + self._sent_at
        self._octets[at : at + _SENT_OCTETS] = sent_ns.to_bytes(_SENT_OCTETS)
        if self._checksum_at is not None:
            at = slot * self._head_octets + self._checksum_at
            fresh = (self._timeless_sum.item(slot) - sent_ns) % _CHECKSUM_MODULUS + 1
            self._octets[at : at + 2] = fresh.to_bytes(2)

    def _number(self, first: int, slot: int) -> None:
        count = min(self._ahead - slot % self._ahead, self._slots - slot)
        end = slot + count
        numbers = (self._ascending[:count] + np.uint64(first)) & np.uint64(0xFFFFFFFF)
        self._high[slot:end] = numbers >> np.uint64(16)
        self._low_number[slot:end] = numbers << np.uint64(8 * _SENT_OCTETS)
        self._low[slot:end] = self._low_number[slot:end]
        if self._checksum is not None:
            # A multiple of the modulus keeps the differences above zero; the one that is taken
            # off comes back behind the division, so that 0 is written as 65 535 (RFC 768).
            above = np.uint64((1 << 33) * _CHECKSUM_MODULUS - 1)
            self._timeless_sum[slot:end] = self._unnumbered_sum[slot:end] + above - numbers
        self._numbered = first + count

    def _view(self, at: int, kind: str) -> NDArray[np.uint16]:
        return np.ndarray(
            (self._slots,), kind, self._heads.data, offset=at, strides=(self._head_octets,)
        )

    def _describe(
        self, templates: Templates, size: NDArray[np.int64]
    ) -> tuple[NDArray[np.uint64], NDArray[np.uint64]]:
        """Build struct iovec (two for each slot: head and fill) and struct mmsghdr."""
        payload_end = templates.layout.payload_end
        built = np.array([templates.built_octets(n) for n in range(len(templates.sizes))])
        behind = built[size] - payload_end
        iovecs = np.zeros((self._slots, 4), dtype=np.uint64)
        rows = np.arange(self._slots, dtype=np.uint64)
        iovecs[:, 0] = self._heads.ctypes.data + rows * np.uint64(self._head_octets)
        iovecs[:, 1] = payload_end
        iovecs[:, 2] = self._fill.ctypes.data
        iovecs[:, 3] = behind
        messages = np.zeros((self._slots, _MESSAGE_WORDS), dtype=np.uint64)
        messages[:, _IOVEC_WORD] = iovecs.ctypes.data + rows * np.uint64(4 * _ADDRESS)
        messages[:, _COUNT_WORD] = 1 + (behind > 0)
        return iovecs, messages


def _cycle(templates: Templates) -> int:
    once = lcm(templates.destinations, len(templates.sizes))
    return once * -(-NUMBERED_AHEAD // once)
