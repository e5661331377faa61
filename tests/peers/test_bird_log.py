# ruff: noqa: E501 (lines of a log are as long as they are)
"""Real logs of BIRD 2.0.12 beside FRR 8.4.4, cut down to the lines that tell of the session."""

from qualify.measure.observation import NeighborChange, NeighborEvent
from qualify.peers.bird_log import read_log

UP, DOWN = NeighborChange.UP, NeighborChange.DOWN
RESTARTING, RESTARTED = NeighborChange.RESTARTING, NeighborChange.RESTARTED

# 09:21:00 UTC on 25 November 2026 is 1 795 598 460 s after the epoch.
NINE_TWENTY_ONE_NS = 1_795_598_460_000_000_000

OSPF_UP = """\
2026-11-25 09:20:58.832812 <TRACE> dut: State changed to up
2026-11-25 09:20:58.840621 <TRACE> dut: Interface p3 changed state from Down to PtP
2026-11-25 09:21:00.640566 <TRACE> dut: New neighbor 198.18.0.1 on p3, IP address 198.18.2.1
2026-11-25 09:21:00.640566 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Down to Init
2026-11-25 09:21:00.842254 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Init to 2-Way
2026-11-25 09:21:00.842254 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from 2-Way to ExStart
2026-11-25 09:21:00.842722 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Loading to Full
"""
OSPF_GRACEFUL = """\
2026-11-25 09:21:09.665601 <TRACE> dut: Neighbor 198.18.0.1 on p3 started graceful restart
2026-11-25 09:21:11.813963 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Full to Init
2026-11-25 09:21:11.841267 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Init to 2-Way
2026-11-25 09:21:11.841840 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Exchange to Full
2026-11-25 09:21:12.968236 <TRACE> dut: Neighbor 198.18.0.1 on p3 finished graceful restart
"""
OSPF_COLD = """\
2026-11-25 09:21:24.561739 <TRACE> dut: Inactivity timer expired for nbr 198.18.0.1 on p3
2026-11-25 09:21:24.561739 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Full to Down
2026-11-25 09:21:24.561739 <TRACE> dut: Neighbor 198.18.0.1 on p3 removed
2026-11-25 09:21:24.696303 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Down to Init
2026-11-25 09:21:24.866727 <TRACE> dut: Neighbor 198.18.0.1 on p3 changed state from Loading to Full
"""
OSPF_SECOND_ROUTER = """\
2026-11-25 09:21:16.979981 <TRACE> dut: New neighbor 198.19.3.1 on p3, IP address 198.18.2.1
2026-11-25 09:21:16.979981 <TRACE> dut: Neighbor 198.19.3.1 on p3 changed state from Down to Init
2026-11-25 09:21:20.980322 <TRACE> dut: Inactivity timer expired for nbr 198.19.3.1 on p3
2026-11-25 09:21:20.980322 <TRACE> dut: Neighbor 198.19.3.1 on p3 changed state from Init to Down
2026-11-25 09:21:20.980322 <TRACE> dut: Neighbor 198.19.3.1 on p3 removed
"""
BGP_UP = """\
2026-11-25 09:20:59.088305 <TRACE> dut: State changed to start
2026-11-25 09:20:59.102326 <TRACE> dut: Connect delayed by 1 seconds
2026-11-25 09:21:01.722252 <TRACE> dut: Connection lost (Connection reset by peer)
2026-11-25 09:21:01.779063 <TRACE> dut: Incoming connection from 198.18.3.1 (port 57546) accepted
2026-11-25 09:21:01.779480 <TRACE> dut: BGP session established
2026-11-25 09:21:01.779480 <TRACE> dut: State changed to up
"""
BGP_GRACEFUL = """\
2026-11-25 09:21:10.609427 <TRACE> dut: Connection closed
2026-11-25 09:21:10.609427 <TRACE> dut: Neighbor graceful restart detected
2026-11-25 09:21:10.609427 <TRACE> dut: State changed to start
2026-11-25 09:21:10.609427 <TRACE> dut: BGP session closed
2026-11-25 09:21:11.411564 <TRACE> dut: Connection lost (Connection refused)
2026-11-25 09:21:12.929614 <TRACE> dut: Incoming connection from 198.18.3.1 (port 45078) accepted
2026-11-25 09:21:12.930374 <TRACE> dut: BGP session established
2026-11-25 09:21:12.930374 <TRACE> dut: State changed to up
2026-11-25 09:21:15.934218 <TRACE> dut: Neighbor graceful restart done
"""
BGP_COLD = """\
2026-11-25 09:21:20.551256 <TRACE> dut: Connection closed
2026-11-25 09:21:20.551256 <TRACE> dut: Neighbor graceful restart detected
2026-11-25 09:21:20.551256 <TRACE> dut: State changed to start
2026-11-25 09:21:20.551256 <TRACE> dut: BGP session closed
2026-11-25 09:21:25.771077 <TRACE> dut: BGP session established
2026-11-25 09:21:25.771077 <TRACE> dut: Neighbor graceful restart done
2026-11-25 09:21:25.771077 <TRACE> dut: State changed to up
"""


def changes(text: str, protocol: str) -> list[NeighborChange]:
    return [event.change for event in read_log(text, protocol=protocol).events]


def test_an_event_has_the_time_of_its_line_to_the_microsecond() -> None:
    assert read_log(OSPF_UP, protocol="ospf").events == (
        NeighborEvent(
            NINE_TWENTY_ONE_NS + 842_722_000,
            UP,
            "Neighbor 198.18.0.1 on p3 changed state from Loading to Full",
        ),
    )


def test_ospf_restarts_gracefully_without_a_flap() -> None:
    """RFC 3623: the adjacency is built anew while the helper goes on as if it were full."""
    assert changes(OSPF_UP + OSPF_GRACEFUL, "ospf") == [UP, RESTARTING, RESTARTED]


def test_ospf_flaps_when_the_device_reloads() -> None:
    assert changes(OSPF_UP + OSPF_COLD, "ospf") == [UP, DOWN, UP]


def test_a_second_router_that_passes_by_is_not_this_session() -> None:
    assert changes(OSPF_UP + OSPF_SECOND_ROUTER, "ospf") == [UP]
    log = read_log(OSPF_UP + OSPF_SECOND_ROUTER, protocol="ospf")
    assert log.state_at(NINE_TWENTY_ONE_NS + 30_000_000_000) == "Full"


def test_help_that_is_canceled_is_a_flap() -> None:
    canceled = (
        "2026-11-25 09:21:10.000000 <TRACE> dut: Graceful restart canceled for nbr 198.18.0.1 "
        "on p3\n"
    )

    assert changes(OSPF_UP + OSPF_GRACEFUL.splitlines()[0] + "\n" + canceled, "ospf") == [
        UP,
        RESTARTING,
        DOWN,
        UP,
    ]


def test_help_that_runs_out_is_a_flap_until_the_session_is_back() -> None:
    lines = OSPF_GRACEFUL.splitlines(keepends=True)
    expired = (
        "2026-11-25 09:21:11.900000 <TRACE> dut: Graceful restart timer expired for nbr "
        "198.18.0.1 on p3\n"
    )

    assert changes(OSPF_UP + lines[0] + lines[1] + expired + lines[3], "ospf") == [
        UP,
        RESTARTING,
        DOWN,
        UP,
    ]


def test_bgp_restarts_gracefully_without_a_flap() -> None:
    """RFC 4724 §4.2: the helper keeps the routes until End-of-RIB of the new session."""
    assert changes(BGP_UP + BGP_GRACEFUL, "bgp") == [UP, RESTARTING, RESTARTED]


def test_bgp_flaps_when_the_new_session_keeps_nothing() -> None:
    """RFC 4724 §4.2: without the capability in the new OPEN, the stale routes are removed."""
    assert changes(BGP_UP + BGP_COLD, "bgp") == [UP, RESTARTING, DOWN, UP]


def test_bgp_flaps_when_the_device_never_comes_back() -> None:
    timeout = "2026-11-25 09:22:10.609427 <TRACE> dut: Neighbor graceful restart timeout\n"
    lines = BGP_GRACEFUL.splitlines(keepends=True)[:4]

    assert changes(BGP_UP + "".join(lines) + timeout, "bgp") == [UP, RESTARTING, DOWN]


def test_bgp_flaps_when_the_device_says_goodbye() -> None:
    goodbye = (
        "2026-11-25 09:21:30.000000 <RMT> dut: Received: Administrative shutdown\n"
        "2026-11-25 09:21:30.000000 <TRACE> dut: BGP session closed\n"
        "2026-11-25 09:21:30.000000 <TRACE> dut: State changed to stop\n"
    )

    assert changes(BGP_UP + goodbye, "bgp") == [UP, DOWN]


def test_the_state_at_a_time_is_the_last_one_before_it() -> None:
    log = read_log(BGP_UP + BGP_GRACEFUL, protocol="bgp")

    assert log.state_at(NINE_TWENTY_ONE_NS) is None
    assert log.state_at(NINE_TWENTY_ONE_NS + 5_000_000_000) == "Established"
    assert log.state_at(NINE_TWENTY_ONE_NS + 11_000_000_000) == "Idle"


def test_a_line_that_is_still_being_written_is_left_out() -> None:
    assert changes(OSPF_UP.rstrip("\n"), "ospf") == []
