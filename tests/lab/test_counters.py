"""The kernel's own count of test frames, read to the frame."""

import pytest

from qualify.errors import LabError
from qualify.lab.counters import counting_rules, read_counters
from qualify.measure.observation import PortCount

LISTING = """
{"nftables": [{"metainfo": {"version": "1.0.6", "json_schema_version": 1}},
 {"counter": {"family": "netdev", "name": "n_e1_in", "table": "lab_truth", "handle": 1,
              "packets": 1000, "bytes": 124000}},
 {"counter": {"family": "netdev", "name": "n_e1_out", "table": "lab_truth", "handle": 2,
              "packets": 997, "bytes": 123628}}]}
"""


def test_only_udp_from_49184_to_7_is_counted() -> None:
    """RFC 2544 C.2.6.4 gives the ports of a test frame: source 0xC020, destination 7.

    Over IPv4 they stand behind 14 + 20 octets, 272 bits, over IPv6 behind 14 + 40, 432 bits.
    """
    rules = counting_rules(("e1",))

    assert 'ingress device "e1"' in rules
    assert 'egress device "e1"' in rules
    assert rules.count("{ type") == 2
    assert rules.count("@ll,96,16 0x0800 @ll,272,32 0xc0200007 counter name n_e1_in accept;") == 1
    assert rules.count("@ll,96,16 0x86dd @ll,432,32 0xc0200007 counter name n_e1_in accept;") == 1


def test_frames_without_ip_are_counted_by_type_and_magic_number_behind_any_tags() -> None:
    rules = counting_rules(("e1",))

    assert rules.count("@ll,96,16 0x88b5 @ll,112,16 0x5155 counter name n_e1_out accept;") == 1
    assert rules.count("@ll,160,16 0x88b5 @ll,176,16 0x5155 counter name n_e1_out accept;") == 1
    assert rules.count("counter name n_e1_out accept;") == 9


def test_frames_in_and_out_are_read_for_each_port() -> None:
    assert read_counters(LISTING, ("e1",)) == (PortCount("e1", received=1000, sent=997),)


def test_a_counter_that_is_gone_is_no_zero() -> None:
    with pytest.raises(LabError, match=r"^the lab lost its frame counters of e2\n  fix: take the"):
        read_counters(LISTING, ("e1", "e2"))
