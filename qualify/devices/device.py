"""What every device driver can do, and what it tells."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from qualify.testbed.image import Image


@dataclass(frozen=True, slots=True)
class Facts:
    """What a device says about itself.

    ``redundancy`` tells which features for an upgrade in service are on, by name; a case needs
    all of them on.
    """

    maker: str
    model: str
    release: str
    redundancy: Mapping[str, bool]


@dataclass(frozen=True, slots=True)
class DeviceNeighbor:
    """A routing neighbor as the device shows it.

    The device forgets when it restarts: this is for the check before a trial and for the page,
    never the truth about flaps.
    """

    protocol: str
    address: str
    state: str
    up: bool


@dataclass(frozen=True, slots=True)
class Tables:
    """Neighbors, and routes in the forwarding table by protocol (``ospf``, ``bgp``)."""

    neighbors: tuple[DeviceNeighbor, ...]
    routes: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Verification:
    """How far an upgrade is.

    ``release`` is what runs now, ``None`` while the device cannot be asked. ``message`` holds the
    device's own words when the upgrade went wrong, else it is empty.
    """

    release: str | None
    finished: bool
    message: str


class Device(Protocol):
    """One device under test.

    Found by the entry point group ``qualify.devices``: a callable that takes the Dut and the Site.
    """

    def facts(self) -> Facts:
        """Ask the device what it is and what it runs.

        Raises:
            DeviceError: it does not answer.
        """
        ...

    def tables(self) -> Tables:
        """Ask the device for its neighbors and routes.

        Raises:
            DeviceError: it does not answer.
        """
        ...

    def install(self, image: Image) -> None:
        """Bring the image onto the device and let it check the sum; forwarding is not touched.

        Raises:
            ImageRefusedError: the sum is wrong.
        """
        ...

    def activate(self) -> None:
        """Give the upgrade command, exactly once, and return at once."""
        ...

    def verify(self) -> Verification:
        """Ask how far the upgrade is; does not raise while the device is away."""
        ...

    def restore(self, image: Image) -> None:
        """Bring the device back to this image by whatever way is safe, and wait until it runs."""
        ...

    def close(self) -> None:
        """Give back whatever was opened; the device stays as it is."""
        ...
