"""RFC 4737, Packet Reordering Metrics: Type-P-Reordered (sections 3.3 and 3.6).

Orders of arrival are typed from the RFC; packets are numbered from 1 there, so packet 0 is
put before each of them. Extents, n-reordering and gaps are not measured.
"""

import pytest

from tests.measure.captures import arrivals_of


def reordered_of(arrivals: str) -> int:
    return arrivals_of(0, *map(int, arrivals.split())).reordered


@pytest.mark.parametrize(
    ("arrivals", "reordered"),
    [
        pytest.param("1 2 3 5 6 7 8 4 9 10", 1, id="O-REO-01 section 7.1 table 1: R = 1/10"),
        pytest.param("1 2 3 4 7 5 6 8 9 10", 2, id="O-REO-02 section 7.2 table 2: R = 2/10"),
        pytest.param("1 2 3 7 8 9 10 4 5 6 11", 3, id="O-REO-03 section 7.3 table 3: R = 3/11"),
        pytest.param(
            "1 2 3 6 7 4 5 8 9 10 12 13 11 14 15 16",
            3,
            id="O-REO-04 section 7.4 table 4: R = 3/16",
        ),
        pytest.param("1 2 3 7 8 9 4 5 6", 3, id="O-REO-05 section 5.3 note: 4, 5 and 6"),
        pytest.param("1 10 5", 1, id="O-REO-06 section 4.3.4: 5"),
        pytest.param("4 7 5 6", 2, id="O-REO-07 RFC 6673 section 5.4: 5 and 6"),
        pytest.param("1 3 4 5 6", 0, id="O-REO-08 RFC 5236 section 2 b: loss alone"),
        pytest.param("1 2 3 2 4 5", 0, id="O-REO-09 RFC 5236 section 2 b: a duplicate alone"),
    ],
)
def test_o_reo_published_examples(arrivals: str, reordered: int) -> None:
    assert reordered_of(arrivals) == reordered


def test_o_seq_05_the_first_packet_is_in_order_whatever_its_number() -> None:
    """Section 3.3: NextExp begins at the first packet."""
    assert arrivals_of(7, 8, 9).reordered == 0


def test_o_seq_07_only_the_first_copy_is_analysed() -> None:
    """Section 3.6: duplicates are noted, and only the first copy is analysed."""
    arrivals = arrivals_of(1, 2, 5, 3, 3, 3, 6)
    assert (arrivals.reordered, arrivals.duplicate) == (1, 2)


def test_o_seq_08_loss_alone_reorders_nothing() -> None:
    """Section 6."""
    assert arrivals_of(1, 2, 9, 10, 50).reordered == 0


def test_o_reo_07_reordering_alone_loses_nothing() -> None:
    """RFC 6673 section 5.4: of 4 7 5 6 nothing is lost between 4 and 7."""
    assert arrivals_of(4, 7, 5, 6).received == 4


@pytest.mark.parametrize(
    ("arrivals", "discontinuities"),
    [
        pytest.param("1 2 3 5 6 7 8", [(4, 1)], id="O-REO-01: size 1, at packet 5"),
        pytest.param("1 2 3 4 7", [(5, 2)], id="O-REO-02: size 2, at packet 7"),
        pytest.param("1 2 3 7", [(4, 3)], id="O-REO-03: size 3, at packet 7"),
        pytest.param("1 3 4 5 6", [(2, 1)], id="O-REO-08: size 1, and packet 2 is lost"),
        pytest.param("1 10 5", [(2, 3), (6, 4)], id="O-REO-06: 2 to 4 and 6 to 9 are lost"),
    ],
)
def test_o_seq_06_a_sequence_discontinuity_has_a_size(
    arrivals: str, discontinuities: list[tuple[int, int]]
) -> None:
    """Section 3.4: s - NextExp; a late packet takes its number out again."""
    gaps = arrivals_of(0, *map(int, arrivals.split())).gaps
    assert [(first, frames) for first, frames, *_ in gaps.tolist()] == discontinuities
