"""Loss of every destination by itself."""

from dataclasses import replace

import numpy as np

from qualify.measure.figures import DestinationLoss
from qualify.measure.stream import measure_stream
from tests.measure.captures import even_capture, timed_capture


def test_each_destination_has_its_own_loss_and_bounds_one_round_wide() -> None:
    # 4 destinations at 1000 pps in all: one round is 4 ms. Destination 1 lost frames 5, 9 and 13
    # in a row, destination 2 lost frame 10 only.
    figures = measure_stream(even_capture(sent=40, destinations=4, lost=[5, 9, 10, 13]))
    assert figures.destinations == (
        DestinationLoss(1, sent=10, lost=3, outage_low_ns=8_000_000, outage_high_ns=16_000_000),
        DestinationLoss(2, sent=10, lost=1, outage_low_ns=0, outage_high_ns=8_000_000),
    )


def test_the_worst_destination_comes_first_and_equals_keep_their_order() -> None:
    figures = measure_stream(even_capture(sent=60, destinations=3, lost=[6, 8, 20, 22, 23]))
    assert [(loss.destination, loss.lost) for loss in figures.destinations] == [
        (2, 3),
        (0, 1),
        (1, 1),
    ]


def test_two_loss_periods_of_a_destination_widen_its_bounds() -> None:
    figures = measure_stream(even_capture(sent=60, destinations=3, lost=[6, 12]))
    assert figures.destinations == (
        DestinationLoss(0, sent=20, lost=2, outage_low_ns=0, outage_high_ns=12_000_000),
    )


def test_destinations_of_an_unfinished_round_were_sent_one_frame_less() -> None:
    figures = measure_stream(even_capture(sent=8, destinations=3, lost=[3, 4, 5]))
    assert [loss.sent for loss in figures.destinations] == [3, 3, 2]


def test_a_destination_that_lost_its_last_frame_is_open() -> None:
    figures = measure_stream(even_capture(sent=9, destinations=3, lost=[8]))
    assert figures.destinations == (
        DestinationLoss(2, sent=3, lost=1, outage_low_ns=0, outage_high_ns=6_000_000),
    )


def test_a_pause_of_the_sender_widens_the_bounds_of_a_destination() -> None:
    # 2 destinations; 50 ms pass between frames 2 and 3; frame 2 is lost.
    capture = timed_capture(
        sent_at=[0, 1_000_000, 2_000_000, 52_000_000, 53_000_000], received=[0, 1, 3, 4]
    )
    figures = measure_stream(replace(capture, destinations=2))
    assert figures.destinations == (
        DestinationLoss(0, sent=3, lost=1, outage_low_ns=0, outage_high_ns=53_000_000),
    )


def test_one_route_of_twelve_thousand_does_not_drown() -> None:
    lost = np.arange(7_777, 600_000, 12_000)
    figures = measure_stream(
        even_capture(sent=600_000, rate_pps=10_000, destinations=12_000, lost=lost.tolist())
    )
    assert len(figures.destinations) == 1
    assert figures.destinations[0].destination == 7_777
    assert figures.destinations[0].sent == figures.destinations[0].lost == 50
