"""The search for the highest rate without loss: few steps, and never above a lossy rate."""

import pytest

from qualify.bench.rate_search import RateSearch


def tried(search: RateSearch, *, loses_above: int) -> list[int]:
    rates = []
    while (rate := search.next_pps) is not None:
        rates.append(rate)
        search.note(rate, clean=rate <= loses_above)
    return rates


def test_the_most_that_a_backend_allows_is_tried_first_and_can_be_all() -> None:
    search = RateSearch(first_pps=666, least_pps=50, most_pps=666)

    assert tried(search, loses_above=1_000) == [666]
    assert search.best_pps == 666


def test_a_rate_without_loss_is_doubled_then_narrowed_to_an_eighth() -> None:
    search = RateSearch(first_pps=10_000, least_pps=50, most_pps=None)

    assert tried(search, loses_above=33_000) == [10_000, 20_000, 40_000, 30_000, 35_000, 32_500]
    assert search.best_pps == 32_500


def test_a_rate_with_loss_is_halved_then_narrowed_to_an_eighth() -> None:
    search = RateSearch(first_pps=8_000, least_pps=50, most_pps=8_000)

    assert tried(search, loses_above=2_900) == [8_000, 4_000, 2_000, 3_000, 2_500, 2_750]
    assert search.best_pps == 2_750


def test_doubling_ends_at_the_most() -> None:
    search = RateSearch(first_pps=300, least_pps=50, most_pps=1_000)

    assert tried(search, loses_above=5_000) == [300, 600, 1_000]


@pytest.mark.parametrize("first_pps", [50, 170])
def test_a_machine_that_always_loses_has_no_rate(first_pps: int) -> None:
    search = RateSearch(first_pps=first_pps, least_pps=50, most_pps=None)

    assert tried(search, loses_above=0)[-1] == 50
    assert search.best_pps is None
