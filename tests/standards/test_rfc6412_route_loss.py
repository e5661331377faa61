"""RFC 6412 and RFC 6413, IGP data-plane convergence: loss of connectivity, route by route.

The examples of RFC 6413 section 4.2 are the RFC's own; the other worked values are derived from
its formulas.
"""

import numpy as np

from qualify.measure.figures import StreamFigures
from qualify.measure.stream import measure_stream
from tests.measure.captures import even_capture


def test_o_loc_01_route_loss_of_connectivity_period() -> None:
    """RFC 6412 section 3.6.5: 250 lost at 1000 packets/s per route: 0.250 s."""
    lost = range(4_000, 5_000, 4)
    figures = measure_stream(even_capture(sent=10_000, rate_pps=4_000, destinations=4, lost=lost))
    (route,) = figures.destinations
    assert (route.destination, route.lost) == (0, 250)
    assert (route.outage_low_ns, route.outage_high_ns) == (249_000_000, 251_000_000)


def test_o_loc_03_loss_derived_over_all_routes() -> None:
    """RFC 6412 section 3.6.6: 150 000 lost at 100 000 packets/s: 1.5 s."""
    figures = measure_stream(
        even_capture(sent=400_000, rate_pps=100_000, lost=range(100_000, 250_000))
    )
    assert figures.outage_ns == 1_500_000_000


def two_routes(*, a_from: int, a_until: int, b_from: int, b_until: int) -> StreamFigures:
    """Routes A and B at 100 packets/s each; both interruptions in seconds after a second's lead."""
    sent_ms = np.arange(1_600) * 5
    first_ms = np.where(np.arange(1_600) % 2 == 0, a_from, b_from) * 1_000 + 1_000
    until_ms = np.where(np.arange(1_600) % 2 == 0, a_until, b_until) * 1_000 + 1_000
    lost = np.flatnonzero((sent_ms >= first_ms) & (sent_ms < until_ms))
    return measure_stream(
        even_capture(sent=1_600, rate_pps=200, destinations=2, lost=lost.tolist())
    )


def test_o_loc_06_routes_that_recover_in_the_order_in_which_they_failed() -> None:
    """RFC 6413 section 4.2: Ta=0 Tb=1 Ta'=3 Tb'=5: 3 s and 4 s; never 3 s to 5 s."""
    worst, other = two_routes(a_from=0, a_until=3, b_from=1, b_until=5).destinations
    assert (worst.destination, worst.lost) == (1, 400)
    assert (worst.outage_low_ns, worst.outage_high_ns) == (3_990_000_000, 4_010_000_000)
    assert (other.destination, other.lost) == (0, 300)
    assert (other.outage_low_ns, other.outage_high_ns) == (2_990_000_000, 3_010_000_000)


def test_o_loc_07_routes_that_recover_in_the_other_order() -> None:
    """RFC 6413 section 4.2: Ta=0 Tb=1 Tb''=3 Ta''=5: 2 s and 5 s."""
    worst, other = two_routes(a_from=0, a_until=5, b_from=1, b_until=3).destinations
    assert (worst.destination, worst.lost) == (0, 500)
    assert (worst.outage_low_ns, worst.outage_high_ns) == (4_990_000_000, 5_010_000_000)
    assert (other.destination, other.lost) == (1, 200)
    assert (other.outage_low_ns, other.outage_high_ns) == (1_990_000_000, 2_010_000_000)


def test_o_unc_06_accuracy_of_a_route_is_destinations_by_offered_load() -> None:
    """RFC 6413 section 6.3.3: 1000 destinations at 100 000 packets/s: plus and minus 10 ms."""
    lost = range(100_007, 110_007, 1_000)
    figures = measure_stream(
        even_capture(sent=300_000, rate_pps=100_000, destinations=1_000, lost=lost)
    )
    (route,) = figures.destinations
    assert route.lost == 10
    assert route.outage_low_ns == 100_000_000 - 10_000_000
    assert route.outage_high_ns == 100_000_000 + 10_000_000
