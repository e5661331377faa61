"""The rules of a blackout say what the kernel must understand."""

import pytest

from qualify.errors import LabError
from qualify.lab.blackout import blackout_rules, count_lost

# Any time that is a multiple of 512 ns.
EDGE_NS = 1_795_600_000_000_000_000 // 512 * 512


@pytest.mark.parametrize("edge_ns", [512, EDGE_NS, EDGE_NS + 512, EDGE_NS + 512 * 195])
def test_the_written_seconds_times_a_billion_are_the_edge(edge_ns: int) -> None:
    """The command line takes whole seconds times 10**9, modulo 2**64."""
    rule = blackout_rules(edge_ns, edge_ns + 1_024, ("e1",)).splitlines()[5]
    words = rule.split()
    first, end = int(words[words.index(">=") + 1]), int(words[words.index("<") + 1])

    assert first * 10**9 % 2**64 == edge_ns
    assert end * 10**9 % 2**64 == edge_ns + 1_024


def test_only_what_enters_at_the_ports_is_touched() -> None:
    assert "iifname { e1, e3 } meta time" in blackout_rules(0, 512, ("e1", "e3"))


def test_switched_and_routed_frames_are_added_up() -> None:
    listing = (
        '{"nftables": [{"metainfo": {}},'
        ' {"counter": {"family": "inet", "table": "lab_blackout", "packets": 3}},'
        ' {"counter": {"family": "netdev", "table": "lab_truth", "packets": 1000}},'
        ' {"counter": {"family": "bridge", "table": "lab_blackout", "packets": 4}}]}'
    )

    assert count_lost(listing) == 7


def test_counters_that_are_gone_are_not_zero() -> None:
    with pytest.raises(LabError, match=r"^the counters of a blackout are not there"):
        count_lost('{"nftables": [{"metainfo": {}}]}')
