"""What every routing peer of the tester can do."""

from typing import Protocol

from qualify.measure.observation import NeighborHistory


class Peer(Protocol):
    """A routing neighbor of the device, at one tester port; it originates the routes behind it.

    Found by the entry point group ``qualify.peers``: a callable that takes a PeerPlan and the Site.
    """

    def start(self) -> None:
        """Start speaking and originate the routes.

        Raises:
            PeerError: it could not be started.
        """
        ...

    def up(self) -> bool:
        """Tell whether the session with the device is in service."""
        ...

    def routes(self) -> int | None:
        """Count the routes learned through the device; ``None`` when the peer cannot tell."""
        ...

    def history(self, *, since_ns: int) -> NeighborHistory:
        """Return what happened to the session since that time (tester's clock)."""
        ...

    def stop(self) -> None:
        """Stop speaking."""
        ...
