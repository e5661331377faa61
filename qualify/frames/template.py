"""From one frame to one template for each destination of a stream."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.frames.checksum import read_words, update_checksums, write_checksums
from qualify.frames.layout import (
    IPV4_CHECKSUM_AT,
    IPV4_SOURCE_AT,
    IPV4_TARGET_AT,
    UDP_AT,
    UDP_CHECKSUM_AT,
)

_TARGET_MAC = slice(0, 6)
_SOURCE_MAC = slice(6, 12)


@dataclass(frozen=True, slots=True)
class FrameAddresses:
    """The addresses of every destination: MAC addresses of shape (n, 6), IPv4 of shape (n,)."""

    target_macs: NDArray[np.uint8]
    source_macs: NDArray[np.uint8]
    sources: NDArray[np.uint32]
    targets: NDArray[np.uint32]


def address_template(frame: NDArray[np.uint8], addresses: FrameAddresses) -> NDArray[np.uint8]:
    """Return the frame once for each destination, with its addresses and right checksums.

    Args:
        frame: a complete test frame with right checksums, shape (octets,).
        addresses: of n destinations.

    Returns:
        The templates, shape (n, octets); see number_frames.
    """
    templates = np.tile(frame, (len(addresses.targets), 1))
    templates[:, _TARGET_MAC] = addresses.target_macs
    templates[:, _SOURCE_MAC] = addresses.source_macs
    before = read_words(templates, at=IPV4_SOURCE_AT, octets=UDP_AT - IPV4_SOURCE_AT)
    templates[:, IPV4_SOURCE_AT:IPV4_TARGET_AT].view(">u4")[:, 0] = addresses.sources
    templates[:, IPV4_TARGET_AT:UDP_AT].view(">u4")[:, 0] = addresses.targets
    after = read_words(templates, at=IPV4_SOURCE_AT, octets=UDP_AT - IPV4_SOURCE_AT)
    # Both checksums cover the addresses: UDP through its pseudo header (RFC 768).
    for at, zero_means_none in ((IPV4_CHECKSUM_AT, False), (UDP_CHECKSUM_AT, True)):
        old = read_words(templates, at=at, octets=2)[:, 0]
        fresh = update_checksums(old, before=before, after=after)
        write_checksums(templates, fresh, at=at, zero_means_none=zero_means_none)
    return templates
