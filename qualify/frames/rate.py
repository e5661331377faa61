"""The most frames per second that a port of a certain speed carries."""

from collections.abc import Sequence

PREAMBLE_OCTETS = 8
GAP_OCTETS = 12
BETWEEN_FRAMES_OCTETS = PREAMBLE_OCTETS + GAP_OCTETS
_BITS = 8


def max_frame_rate(speed_bps: int, sizes: Sequence[int]) -> int:
    """Return the highest whole rate in frames per second at which a mix of sizes fits on the wire.

    Args:
        speed_bps: bits per second.
        sizes: the frame sizes that follow one another, from MAC address to check sequence.

    Source:
        RFC 2544 appendix B and RFC 5180 appendix A.1: every frame takes 8 bits for each octet of
        its size and of the 20 octets of preamble and gap before the next one (IEEE 802.3).
    """
    octets = sum(size + BETWEEN_FRAMES_OCTETS for size in sizes)
    return speed_bps * len(sizes) // (octets * _BITS)
