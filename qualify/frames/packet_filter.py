"""A classic BPF program that lets only test frames through, as plain data for any packet socket.

The kernel runs it on every frame of a port before a copy is queued, so the tester spends nothing
on hellos, floods and strangers. It is attached with SO_ATTACH_FILTER.

A packet socket never sees the outer VLAN tag in the frame: the kernel has taken it off and keeps
it beside the frame, where a program finds it by a special offset.
"""

import struct
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from qualify.frames.layout import (
    ETHER_TYPES,
    IP_OCTETS,
    MAGIC,
    PLAIN,
    RUN_ID,
    TAG_OCTETS,
    TAG_TYPE,
    TYPE_AT,
    UDP_DESTINATION,
    UDP_SOURCE,
    Layout,
)
from qualify.testbed.testbed import Headers

LOAD_WORD, LOAD_HALF, LOAD_OCTET = 0x20, 0x28, 0x30
AND = 0x54
JUMP_EQUAL, JUMP_SET = 0x15, 0x45
RETURN = 0x06

# SKF_AD_OFF + SKF_AD_VLAN_TAG: the tag beside the frame; zero when there is none.
_OUTER_TAG_AT = 0xFFFFF000 + 44
_VLAN_ID = 0x0FFF
_UDP = 17


class Instruction(NamedTuple):
    """One instruction; a jump skips as many instructions as it says."""

    code: int
    jump_true: int
    jump_false: int
    value: int


class _Check(NamedTuple):
    """Something that must hold, or must not hold when not ``wanted``, of a field of the frame."""

    load: int
    at: int
    value: int
    mask: int | None = None
    jump: int = JUMP_EQUAL
    wanted: bool = True


def our_frame_filter(
    run_id: int | None, layouts: Iterable[Layout] = (PLAIN,), *, keep_octets: int | None = None
) -> tuple[Instruction, ...]:
    """Return a program that accepts the test frames of one run and cuts them.

    A frame in another VLAN than its own, or with a tag more or less, is not accepted: it was not
    delivered. The priority in a tag does not matter, and may be all that a tag holds (VLAN id 0).

    Args:
        run_id: of the run; ``None`` to accept the test frames of every run.
        layouts: in which the frames were *sent*; those that can arrive at the port.
        keep_octets: how much to keep of each frame; by default everything up to the end of the
            longest payload. With a single layout all records in a ring then have equal lengths,
            since no frame is shorter.
    """
    wanted = list(dict.fromkeys(layouts))
    keep = keep_octets or max(layout.received.payload_end for layout in wanted)
    blocks = [
        [
            *_header_checks(layout.received),
            *_vlan_checks(layout.vlans),
            *_payload_checks(layout.received, run_id, ours=True),
        ]
        for layout in wanted
    ]
    return _program(blocks, keep)


def foreign_frame_filter(run_id: int) -> tuple[Instruction, ...]:
    """Return a program that accepts the test frames of every *other* run, to count them.

    They may have any layout, and be in any VLAN.
    """
    seen = [Layout(headers, vlans) for headers in Headers for vlans in ((), (1,))]
    blocks = [
        [*_header_checks(layout), *_payload_checks(layout, run_id, ours=False)] for layout in seen
    ]
    return _program(blocks, max(layout.payload_end for layout in seen))


def pack_filter(program: tuple[Instruction, ...]) -> bytes:
    """Return the program as the kernel's array of ``struct sock_filter``."""
    return b"".join(struct.pack("=HBBI", *instruction) for instruction in program)


def _header_checks(seen: Layout) -> Iterator[_Check]:
    for tag in range(len(seen.vlans)):
        yield _Check(LOAD_HALF, TYPE_AT + TAG_OCTETS * tag, TAG_TYPE)
    yield _Check(LOAD_HALF, seen.network_at - 2, ETHER_TYPES[seen.headers])
    if seen.headers is Headers.IPV4:
        yield _Check(LOAD_OCTET, seen.network_at, 0x45)
        yield _Check(LOAD_HALF, seen.network_at + 6, 0x3FFF, jump=JUMP_SET, wanted=False)
        yield _Check(LOAD_OCTET, seen.network_at + 9, _UDP)
    if seen.headers is Headers.IPV6:
        yield _Check(LOAD_OCTET, seen.network_at + 6, _UDP)
    if seen.has_udp:
        ports = UDP_SOURCE << 16 | UDP_DESTINATION
        yield _Check(LOAD_WORD, seen.network_at + IP_OCTETS[seen.headers], ports)


def _vlan_checks(vlans: tuple[int, ...]) -> Iterator[_Check]:
    outer, *inner = vlans or (0,)
    yield _Check(LOAD_WORD, _OUTER_TAG_AT, outer, mask=_VLAN_ID)
    for tag, vlan in enumerate(inner):
        yield _Check(LOAD_HALF, TYPE_AT + TAG_OCTETS * tag + 2, vlan, mask=_VLAN_ID)


def _payload_checks(seen: Layout, run_id: int | None, *, ours: bool) -> Iterator[_Check]:
    yield _Check(LOAD_HALF, seen.payload_at, MAGIC)
    if run_id is not None:
        yield _Check(LOAD_WORD, seen.payload_at + RUN_ID, run_id, wanted=ours)


def _program(blocks: Sequence[Sequence[_Check]], keep_octets: int) -> tuple[Instruction, ...]:
    """Accept what passes all checks of any one block; a check that fails leads to the next."""
    program: list[Instruction] = []
    for checks in blocks:
        block: list[Instruction] = [Instruction(RETURN, 0, 0, keep_octets)]
        for check in reversed(checks):
            block = [*_instructions(check, to_next=len(block)), *block]
        program += block
    return (*program, Instruction(RETURN, 0, 0, 0))


def _instructions(check: _Check, *, to_next: int) -> Iterator[Instruction]:
    yield Instruction(check.load, 0, 0, check.at)
    if check.mask is not None:
        yield Instruction(AND, 0, 0, check.mask)
    jumps = (0, to_next) if check.wanted else (to_next, 0)
    yield Instruction(check.jump, *jumps, check.value)
