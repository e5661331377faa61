"""The test payload, octet by octet."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.frames import Layout, Payload, find_payload, read_payload, write_payload
from tests.frames.layouts import LAYOUTS, one_frame

EXAMPLE = Payload(run_id=0x01020304, stream=0x0506, number=0x0708090A, sent_ns=0x0B0C0D0E0F10)
EXAMPLE_OCTETS = bytes.fromhex("5155 01020304 0506 0708090a 0b0c0d0e0f10")


def test_a_payload_is_written_in_big_endian_in_the_documented_order() -> None:
    assert write_payload(EXAMPLE) == EXAMPLE_OCTETS


def test_a_payload_is_read_with_whatever_follows_it() -> None:
    assert read_payload(EXAMPLE_OCTETS + b"fill") == EXAMPLE


def test_number_and_time_wrap_in_their_fields() -> None:
    written = write_payload(Payload(1, 2, (1 << 32) + 5, (1 << 48) + 6))
    assert read_payload(written) == Payload(1, 2, 5, 6)


def test_octets_of_somebody_else_are_no_payload() -> None:
    assert read_payload(b"\x51\x56" + EXAMPLE_OCTETS[2:]) is None
    assert read_payload(EXAMPLE_OCTETS[:17]) is None


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_a_payload_is_found_in_every_layout_as_sent_and_as_received(layout: Layout) -> None:
    for seen in (layout, layout.received):
        frame = one_frame(seen, run_id=9, stream=2, fill=b"fill").tobytes()
        assert find_payload(frame) == Payload(run_id=9, stream=2, number=0, sent_ns=0)


def test_other_protocols_carry_no_payload() -> None:
    assert find_payload(bytes(12) + b"\x08\x06" + bytes(100)) is None
    assert find_payload(bytes(12) + b"\x81\x00") is None


@given(
    st.builds(
        Payload,
        run_id=st.integers(0, 2**32 - 1),
        stream=st.integers(0, 2**16 - 1),
        number=st.integers(0, 2**32 - 1),
        sent_ns=st.integers(0, 2**48 - 1),
    )
)
def test_reading_gives_back_what_was_written(payload: Payload) -> None:
    assert read_payload(write_payload(payload)) == payload
