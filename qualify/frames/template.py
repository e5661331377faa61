"""From one frame to the templates of a stream: one head for each destination and frame size."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.frames.checksum import udp_form, update_checksum
from qualify.frames.fields import read_field, write_field
from qualify.frames.layout import FCS_OCTETS, Layout

_TARGET_MAC = slice(0, 6)
_SOURCE_MAC = slice(6, 12)


@dataclass(frozen=True, slots=True)
class FrameAddresses:
    """The addresses of every destination, as octets.

    MAC addresses have the shape (n, 6), IP addresses (n, 4), (n, 16), or (n, 0) without IP.
    """

    target_macs: NDArray[np.uint8]
    source_macs: NDArray[np.uint8]
    sources: NDArray[np.uint8]
    targets: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Templates:
    """The frames of a stream before they are numbered.

    A frame is a head, up to the end of the payload, and the fill behind it. Frame number n goes
    to destination ``n % destinations`` with the size ``sizes[n % len(sizes)]``: two cycles, each
    by itself. When their lengths have no common divisor, every destination gets every size;
    otherwise a destination always gets the same part of the mix.

    Attributes:
        layout: of every frame.
        sizes: frame sizes in octets, in the order in which they follow one another.
        heads: shape (sizes, destinations, layout.payload_end), with the right lengths and
            checksums for number 0, time 0, and the fill that follows.
        fill: what follows the head in the largest frame; a smaller one has less of it.
    """

    layout: Layout
    sizes: tuple[int, ...]
    heads: NDArray[np.uint8]
    fill: NDArray[np.uint8]

    @property
    def destinations(self) -> int:
        """How many destinations there are."""
        return len(self.heads[0])

    def built_octets(self, number: int) -> int:
        """Return the length of a frame without its check sequence."""
        return self.sizes[number % len(self.sizes)] - FCS_OCTETS

    def fill_behind(self, number: int) -> NDArray[np.uint8]:
        """Return what follows the head of a frame: octets that are the same in every frame."""
        return self.fill[: self.built_octets(number) - self.layout.payload_end]


def make_templates(
    frames: Sequence[NDArray[np.uint8]], addresses: FrameAddresses, layout: Layout
) -> Templates:
    """Address a frame of each size to every destination.

    Args:
        frames: a complete test frame for each size of the mix, in its order, with right lengths
            and checksums, shape (octets,); they differ in nothing else.
        addresses: of n destinations.
        layout: of the frames.
    """
    heads = [address_heads(frame[: layout.payload_end], addresses, layout) for frame in frames]
    largest = max(frames, key=len)
    return Templates(
        layout=layout,
        sizes=tuple(len(frame) + FCS_OCTETS for frame in frames),
        heads=np.stack(heads),
        fill=largest[layout.payload_end :].copy(),
    )


def address_heads(
    head: NDArray[np.uint8], addresses: FrameAddresses, layout: Layout
) -> NDArray[np.uint8]:
    """Return the head once for each destination, with its addresses and right checksums.

    Args:
        head: of a test frame with right checksums, shape (octets,); a whole frame will do.
        addresses: of n destinations.
        layout: of the frame.

    Returns:
        Heads, shape (n, octets).
    """
    heads = np.tile(head, (len(addresses.target_macs), 1))
    heads[:, _TARGET_MAC] = addresses.target_macs
    heads[:, _SOURCE_MAC] = addresses.source_macs
    middle = layout.addresses_at + layout.address_octets
    end = middle + layout.address_octets
    before = _sum_words(heads[:, layout.addresses_at : end])
    heads[:, layout.addresses_at : middle] = addresses.sources
    heads[:, middle:end] = addresses.targets
    after = _sum_words(heads[:, layout.addresses_at : end])
    if layout.ip_checksum_at is not None:
        old = read_field(heads, at=layout.ip_checksum_at, octets=2)
        fresh = update_checksum(old, before=before, after=after)
        write_field(heads, fresh, at=layout.ip_checksum_at, octets=2)
    if layout.udp_checksum_at is not None:
        # The UDP checksum covers the addresses too, by its pseudo header (RFC 768, RFC 8200 §8.1).
        old = read_field(heads, at=layout.udp_checksum_at, octets=2)
        fresh = udp_form(update_checksum(old, before=before, after=after))
        write_field(heads, fresh, at=layout.udp_checksum_at, octets=2)
    return heads


def _sum_words(octets: NDArray[np.uint8]) -> NDArray[np.int64]:
    words: NDArray[np.int64] = octets.view(">u2").sum(axis=1, dtype=np.int64)
    return words
