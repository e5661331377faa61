"""From one frame to one template for each destination of a stream."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.frames.checksum import udp_form, update_checksum
from qualify.frames.fields import read_field, write_field
from qualify.frames.layout import (
    IPV4_CHECKSUM_AT,
    IPV4_SOURCE_AT,
    IPV4_TARGET_AT,
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
    before = _addresses_sum(templates)
    write_field(templates, addresses.sources.astype(np.int64), at=IPV4_SOURCE_AT, octets=4)
    write_field(templates, addresses.targets.astype(np.int64), at=IPV4_TARGET_AT, octets=4)
    after = _addresses_sum(templates)
    old = read_field(templates, at=IPV4_CHECKSUM_AT, octets=2)
    fresh = update_checksum(old, before=before, after=after)
    write_field(templates, fresh, at=IPV4_CHECKSUM_AT, octets=2)
    # The UDP checksum covers the addresses too, through its pseudo header (RFC 768).
    old = read_field(templates, at=UDP_CHECKSUM_AT, octets=2)
    fresh = udp_form(update_checksum(old, before=before, after=after))
    write_field(templates, fresh, at=UDP_CHECKSUM_AT, octets=2)
    return templates


def _addresses_sum(templates: NDArray[np.uint8]) -> NDArray[np.int64]:
    source = read_field(templates, at=IPV4_SOURCE_AT, octets=4)
    return source + read_field(templates, at=IPV4_TARGET_AT, octets=4)
