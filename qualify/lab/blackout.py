"""A blackout in a virtual device: for an exact time its kernel forwards nothing, and counts.

The window is a rule of the kernel's packet filter that looks at the clock for every frame, so
that its edges are exact to half a microsecond whatever this machine is busy with. It is the
ground truth for an outage: the true duration is known, and so is every test frame that it cost.
"""

import json

from qualify.errors import LabError
from qualify.lab.namespace import Namespace
from qualify.lab.programs import Programs
from qualify.units import NS_PER_MS

# The filter reads its command line in whole seconds and multiplies by 10**9 modulo 2**64. Since
# 10**9 = 2**9 * 5**9, every multiple of 512 ns is the product of some number of "seconds".
STEP_NS = 512
_SECONDS_OF_STEP = pow(5**9, -1, 2**55)

# A rule needs this long to be in force after it was given.
LEAST_AHEAD_NS = 150 * NS_PER_MS

_TABLE = "lab_blackout"
_COUNTER = "lost"
_TEST_FRAME = "udp sport 49184 udp dport 7"


class Blackout:
    """One window in one device, from ``arm`` to ``lift``."""

    def __init__(self, device: Namespace, programs: Programs) -> None:
        self._device = device
        self._nft = programs.path("nft")

    def arm(self, *, start_ns: int, end_ns: int, ports: tuple[str, ...]) -> tuple[int, int]:
        """Let the device forward nothing that enters at these ports within a window to come.

        Args:
            start_ns: beginning, CLOCK_REALTIME; at least LEAST_AHEAD_NS in the future.
            end_ns: end, exclusive.
            ports: the device's ports.

        Returns:
            The window as it will be: both edges on the next multiple of STEP_NS.

        Raises:
            LabError: the kernel refuses the rule.
        """
        first, end = (-(-edge // STEP_NS) * STEP_NS for edge in (start_ns, end_ns))
        self._device.run(self._nft, "-f", "-", stdin=blackout_rules(first, end, ports))
        return first, end

    def lift(self) -> int:
        """Take the rule away and return how many test frames it has cost.

        Raises:
            LabError: the rule is not there.
        """
        for family in ("inet", "bridge"):
            self._device.run(self._nft, "delete", "chain", family, _TABLE, "forward")
        listing = self._device.run(self._nft, "-j", "list", "counters")
        lost = count_lost(listing)
        for family in ("inet", "bridge"):
            self._device.run(self._nft, "delete", "table", family, _TABLE)
        return lost


def blackout_rules(start_ns: int, end_ns: int, ports: tuple[str, ...]) -> str:
    """Write the rules of a window whose edges are multiples of STEP_NS, for ``nft -f``.

    Test frames are counted; everything else that is forwarded is dropped without being counted.
    What the device itself says or hears is not touched.
    """
    # One rule looks at the clock: of two, a frame at the edge could pass the first and not the
    # second, and be lost without being counted.
    window = f"meta time >= {_in_seconds(start_ns)} meta time < {_in_seconds(end_ns)}"
    entering = f"iifname {{ {', '.join(ports)} }}"
    return "\n".join(
        f"table {family} {_TABLE} {{\n"
        f"  counter {_COUNTER} {{ }}\n"
        f"  chain inside {{ {_TEST_FRAME} counter name {_COUNTER} drop; drop; }}\n"
        "  chain forward {\n"
        "    type filter hook forward priority 0;\n"
        f"    {entering} {window} jump inside;\n"
        "  }\n"
        "}\n"
        for family in ("inet", "bridge")
    )


def count_lost(listing: str) -> int:
    """Add up what ``nft -j list counters`` says about the window's counters.

    Raises:
        LabError: one of the two is not there.
    """
    counted = [
        int(item["counter"]["packets"])
        for item in json.loads(listing)["nftables"]
        if item.get("counter", {}).get("table") == _TABLE
    ]
    if len(counted) != len(("inet", "bridge")):
        raise LabError(
            "the counters of a blackout are not there",
            fix="arm the blackout before it is lifted; nothing on the device may flush its rules",
        )
    return sum(counted)


def _in_seconds(edge_ns: int) -> int:
    """The number of "seconds" that the filter's command line turns into this time."""
    return edge_ns // STEP_NS * _SECONDS_OF_STEP % 2**55
