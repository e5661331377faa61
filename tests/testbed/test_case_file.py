"""Case files, compared with a testbed."""

from collections.abc import Callable
from pathlib import Path as FilePath

import pytest

from qualify.testbed.case import (
    Case,
    NeighborBudget,
    Order,
    PathBudget,
    RouteBudget,
    StreamSpec,
)
from qualify.testbed.case_file import check_case, read_case
from qualify.testbed.complaint import ComplaintsError
from qualify.testbed.testbed import Testbed

Write = Callable[..., FilePath]


def refusal(file: FilePath, testbed: Testbed) -> str:
    with pytest.raises(ComplaintsError) as caught:
        read_case(file, testbed)
    return str(caught.value)


def test_a_file_becomes_a_case_and_its_outage_is_exact(
    write: Write, case_text: str, testbed: Testbed
) -> None:
    """2.3 has no exact binary fraction: 2.3 x 1e6 as floats is 2299999.9999999995."""
    case = read_case(write(case_text), testbed)
    assert case == Case(
        name="mixed",
        paths=("l2", "igp"),
        tiers=2,
        order=Order.ROLLING,
        trials=3,
        stream=StreamSpec(offered_load_pps=200, frame_octets=128),
        budgets={"l2": PathBudget(50_000_000), "igp": PathBudget(2_300_000)},
        neighbors=NeighborBudget(flaps=1, graceful_restarts_allowed=False),
        routes=RouteBudget(lost=4),
        file=FilePath("a.yaml"),
        sha256=case.sha256,
    )


@pytest.mark.parametrize(
    ("written", "sizes"),
    [
        ("128", (128,)),
        ("[1518]", (1518,)),
        ("[64, 9216, 64]", (64, 9216, 64)),
        ("aaafg", (64, 64, 64, 1280, 1518)),
        ("IMIX - aaafg", (64, 64, 64, 1280, 1518)),
        ("hi", (2112, 9000)),
        ("az, mtu_frame_octets: 1522", (64, 1522)),
    ],
)
def test_frames_have_one_size_a_list_of_sizes_or_a_mix_by_its_name(
    write: Write, case_text: str, testbed: Testbed, written: str, sizes: tuple[int, ...]
) -> None:
    """RFC 6985 §4 names mixes by a letter for each size."""
    text = case_text.replace("frame_octets: 128", f"frame_octets: {written}")
    stream = read_case(write(text), testbed).stream
    assert stream.sizes == sizes
    assert stream.frame_octets == sizes[0]


@pytest.mark.parametrize(
    ("written", "complaint"),
    [
        (
            "aj",
            "a.yaml:6:47 stream.frame_octets: the letter j stands for 16000 octets, and frames "
            "have at most 9216\n  fix: leave the j out",
        ),
        (
            "az",
            "a.yaml:6:47 stream.frame_octets: the letter z stands for the size of the MTU, which "
            "is not stated\n  fix: add mtu_frame_octets: 1518 to the stream",
        ),
        (
            "ag, mtu_frame_octets: 1518",
            "a.yaml:6:51 stream.mtu_frame_octets: the letter z, for which this stands, is not in "
            "frame_octets\n  fix: delete this key",
        ),
    ],
)
def test_letters_that_stand_for_no_size_are_refused(
    write: Write, case_text: str, testbed: Testbed, written: str, complaint: str
) -> None:
    text = case_text.replace("frame_octets: 128", f"frame_octets: {written}")
    assert refusal(write(text), testbed) == complaint


def test_a_budget_may_be_a_nanosecond(write: Write, case_text: str, testbed: Testbed) -> None:
    case = read_case(write(case_text.replace("2.3", "0.000001")), testbed)
    assert case.budgets["igp"].outage_ns == 1


def test_what_is_left_out_is_strict_except_for_graceful_restarts(
    write: Write, case_text: str, testbed: Testbed
) -> None:
    text = case_text[: case_text.index("neighbors")].replace("order: rolling\n", "")
    case = read_case(write(text), testbed)
    assert case.order is Order.SIMULTANEOUS
    assert case.neighbors == NeighborBudget(flaps=0, graceful_restarts_allowed=True)
    assert case.routes == RouteBudget(lost=0)


def test_a_budget_on_a_path_that_the_testbed_lacks_is_refused(
    write: Write, case_text: str, testbed: Testbed
) -> None:
    text = case_text.replace("  igp: {out", "  egp: {outage_ms: 50}\n  igp: {out")
    assert refusal(write(text), testbed) == (
        "a.yaml:9:3 budgets.egp: a budget on a path that the testbed lacks: 'egp'\n"
        "  fix: did you mean igp?"
    )


def test_a_budget_on_a_path_that_the_case_does_not_use_is_refused(
    write: Write, case_text: str, testbed: Testbed
) -> None:
    assert refusal(write(case_text.replace("[l2, igp]", "[l2]")), testbed) == (
        "a.yaml:9:3 budgets.igp: a budget on a path that this case does not use: 'igp'\n"
        "  fix: delete it, or add igp to the paths of the case"
    )


def test_a_path_that_the_testbed_lacks_is_refused(
    write: Write, case_text: str, testbed: Testbed
) -> None:
    assert refusal(write(case_text.replace("[l2, igp]", "[l2, igp, mpls]")), testbed) == (
        "a.yaml:2:18 paths[2]: the testbed has no path 'mpls'\n  fix: choose one of l2, igp"
    )


def test_a_path_without_a_budget_is_refused(write: Write, case_text: str, testbed: Testbed) -> None:
    assert refusal(write(case_text.replace("  l2: {outage_ms: 50}\n", "")), testbed) == (
        "a.yaml:2:9 paths[0]: path l2 has no budget\n  fix: add l2: {outage_ms: 50} under budgets"
    )


def test_mistakes_of_every_sort_are_shown_together_in_line_order(
    write: Write, case_text: str, testbed: Testbed
) -> None:
    text = (
        case_text.replace("[l2, igp]", "[l2, 7]")
        .replace("trials: 3", "trials: 0\ntrials: 4")
        .replace("frame_octets", "frame_octet")
    )
    assert [line for line in refusal(write(text), testbed).splitlines() if "fix:" not in line] == [
        "a.yaml:2:13 paths[1]: 7 is read as a number",
        "a.yaml:5:9 trials: '0' cannot be a number of trials",
        "a.yaml:6:1 trials: the key 'trials' stands here a second time, first on line 5",
        "a.yaml:7:1 stream: the key 'frame_octets' is missing",
        "a.yaml:7:33 stream.frame_octet: the key 'frame_octet' is not known here",
        "a.yaml:10:3 budgets.igp: a budget on a path that this case does not use: 'igp'",
    ]


def test_a_case_for_more_tiers_than_the_testbed_has_is_no_mistake(
    write: Write, case_text: str, testbed: Testbed
) -> None:
    assert read_case(write(case_text.replace("tiers: 2", "tiers: 3")), testbed).tiers == 3


def test_without_a_testbed_a_case_is_checked_for_mistakes_of_its_own(
    write: Write, case_text: str
) -> None:
    check_case(write(case_text))
    with pytest.raises(ComplaintsError, match="a budget on a path that this case does not use"):
        check_case(write(case_text.replace("[l2, igp]", "[igp]")))
