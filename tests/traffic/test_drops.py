"""The kernel's own tables, as it writes them."""

import socket

from qualify.traffic.drops import (
    InterfaceCounters,
    InterfaceDrops,
    parse_backlog_drops,
    parse_interface_drops,
    read_backlog_drops,
    rise,
)

INTERFACES = """\
Inter-|   Receive                                                |  Transmit
 face |bytes    packets errs drop fifo frame compressed multicast|bytes    packets errs drop fifo
    lo:  300250     300    1    2    3     4          5         6  300250     300   11   12   13
    p1: 1       2    0   41    0     0          0         0 5       6    0   42    0     0
   p10:       0       0    0   99    0     0          0         0        0       0    0   99    0
"""
SOFTNET = """\
00001a2b 00000000 00000001 00000000 00000000
00000002 0000000a 00000000 00000000 00000000
00000003 00000100 00000000 00000000 00000000
"""


def test_the_drops_of_an_interface_are_found_by_its_whole_name() -> None:
    assert parse_interface_drops(INTERFACES, "p1") == InterfaceDrops(received=41, sent=42)
    assert parse_interface_drops(INTERFACES, "lo") == InterfaceDrops(received=2, sent=12)


def test_an_interface_that_is_not_there_has_unknown_drops() -> None:
    assert parse_interface_drops(INTERFACES, "p2") is None


def test_backlog_drops_are_hexadecimal_and_add_up_over_processors() -> None:
    assert parse_backlog_drops(SOFTNET) == 266


def test_this_machine_can_be_read() -> None:
    assert read_backlog_drops() is not None
    counters = InterfaceCounters(socket.if_indextoname(1))
    assert counters.read() is not None
    assert counters.read() == counters.read()
    counters.close()


def test_a_rise_is_unknown_when_one_reading_is() -> None:
    assert rise(3, 5) == 2
    assert rise(None, 5) is None
    assert rise(3, None) is None
