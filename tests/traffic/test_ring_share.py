"""Ports are dealt out so that every processor has the same to do."""

from qualify.traffic.ring_share import share_ports
from tests.traffic.live_bridge import stream


def test_one_stream_keeps_sender_and_receiver_apart() -> None:
    assert share_ports([stream(0, "p1", "p2")], workers=2) == (("p1",), ("p2",))


def test_one_processor_does_everything() -> None:
    assert share_ports([stream(0, "p1", "p2")], workers=1) == (("p1", "p2"),)


def test_nobody_is_without_a_port() -> None:
    assert share_ports([stream(0, "p1", "p2")], workers=64) == (("p1",), ("p2",))


def test_equal_ports_are_dealt_out_evenly() -> None:
    pairs = [("p1", "p2"), ("p2", "p1"), ("p3", "p4"), ("p4", "p3"), ("p5", "p6"), ("p6", "p5")]
    streams = [stream(number, *pair) for number, pair in enumerate(pairs)]
    assert share_ports(streams, workers=2) == (("p1", "p3", "p5"), ("p2", "p4", "p6"))


def test_a_busy_port_is_left_alone() -> None:
    streams = [
        stream(0, "p1", "p2", rate_pps=9_000),
        stream(1, "p2", "p1", rate_pps=1_000),
        stream(2, "p3", "p4", rate_pps=1_000),
    ]
    assert share_ports(streams, workers=2) == (("p1",), ("p2", "p3", "p4"))
