"""A classic BPF program that lets only test frames through, as plain data for any packet socket.

The kernel runs it on every frame of a port before a copy is queued, so the tester spends nothing
on hellos, floods and strangers. It is attached with SO_ATTACH_FILTER.
"""

import struct
from typing import NamedTuple

from qualify.frames.layout import (
    IPV4_AT,
    MAGIC,
    PAYLOAD_AT,
    PAYLOAD_END,
    RUN_ID_AT,
    UDP_AT,
    UDP_DESTINATION,
    UDP_SOURCE,
)

LOAD_WORD, LOAD_HALF, LOAD_OCTET = 0x20, 0x28, 0x30
JUMP_EQUAL, JUMP_SET = 0x15, 0x45
RETURN = 0x06


class Instruction(NamedTuple):
    """One instruction; a jump skips as many instructions as it says."""

    code: int
    jump_true: int
    jump_false: int
    value: int


def our_frame_filter(run_id: int, *, keep_octets: int = PAYLOAD_END) -> tuple[Instruction, ...]:
    """Return a program that accepts the test frames of one run and cuts them to ``keep_octets``.

    Cut to 60 octets, headers and payload are complete and records in a ring get equal lengths.
    """
    return _program(run_id, keep_octets, ours=True)


def foreign_frame_filter(run_id: int) -> tuple[Instruction, ...]:
    """Return a program that accepts the test frames of every *other* run, to count them."""
    return _program(run_id, PAYLOAD_END, ours=False)


def pack_filter(program: tuple[Instruction, ...]) -> bytes:
    """Return the program as the kernel's array of ``struct sock_filter``."""
    return b"".join(struct.pack("=HBBI", *instruction) for instruction in program)


def _program(run_id: int, keep_octets: int, *, ours: bool) -> tuple[Instruction, ...]:
    # (how to load, where, jump, value, whether the jump must be taken)
    checks = (
        (LOAD_HALF, 12, JUMP_EQUAL, 0x0800, True),
        (LOAD_OCTET, IPV4_AT, JUMP_EQUAL, 0x45, True),
        (LOAD_HALF, IPV4_AT + 6, JUMP_SET, 0x3FFF, False),
        (LOAD_OCTET, IPV4_AT + 9, JUMP_EQUAL, 17, True),
        (LOAD_WORD, UDP_AT, JUMP_EQUAL, UDP_SOURCE << 16 | UDP_DESTINATION, True),
        (LOAD_HALF, PAYLOAD_AT, JUMP_EQUAL, MAGIC, True),
        (LOAD_WORD, RUN_ID_AT, JUMP_EQUAL, run_id, ours),
    )
    program: list[Instruction] = []
    for position, (load, at, jump, value, wanted) in enumerate(checks):
        reject = 2 * (len(checks) - position) - 1
        program.append(Instruction(load, 0, 0, at))
        program.append(Instruction(jump, 0 if wanted else reject, reject if wanted else 0, value))
    program.append(Instruction(RETURN, 0, 0, keep_octets))
    program.append(Instruction(RETURN, 0, 0, 0))
    return tuple(program)
