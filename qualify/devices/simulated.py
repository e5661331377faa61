"""Driver ``simulated``: a device that exists in virtual time only, without any privilege."""

from qualify.devices.device import DeviceNeighbor, Facts, Tables, Verification
from qualify.devices.sums import check_sum
from qualify.errors import DeviceError, ImageRefusedError
from qualify.plan.peers import plan_peers
from qualify.site import Site
from qualify.testbed.image import Image, SimulatedBehaviour, SimulatedOutcome
from qualify.testbed.testbed import Dut


class SimulatedDevice:
    """One simulated device under test."""

    def __init__(self, dut: Dut, site: Site) -> None:
        self._name = dut.name
        self._simulation = site.in_simulation("the driver 'simulated'")
        self._peers = plan_peers(site.testbed)
        self._staged: Image | None = None

    def facts(self) -> Facts:
        """Tell what runs; see Device."""
        image = self._simulation.running(self._name)
        if image is None:
            raise DeviceError(
                f"{self._name} does not answer while it upgrades",
                fix="wait until verify() says that it has finished",
            )
        return Facts(
            maker=image.maker,
            model=image.model,
            release=image.release,
            redundancy={"graceful restart": True},
        )

    def tables(self) -> Tables:
        """Tell neighbors and routes, as the truth of the simulation has them."""
        return Tables(neighbors=self._neighbors(), routes=self._routes())

    def _neighbors(self) -> tuple[DeviceNeighbor, ...]:
        port = self._simulation.testbed.port
        return tuple(
            DeviceNeighbor(peer.protocol, str(peer.here.tester.ip), state="up", up=True)
            for peer in self._peers
            if peer.here.tester and port(peer.port).attach.dut == self._name
        )

    def _routes(self) -> dict[str, int]:
        routes: dict[str, int] = {}
        for peer in self._peers:
            lost = self._simulation.routes_lost(self._simulation.testbed.path(peer.path))
            kept = max(0, len(peer.here.prefixes) - lost)
            routes[peer.protocol] = routes.get(peer.protocol, 0) + kept
        return routes

    def install(self, image: Image) -> None:
        """Check the sum of the image as a real device would; see Device."""
        check_sum(image, image.payload, dut=self._name)
        behaviour = image.behaviour
        if (
            isinstance(behaviour, SimulatedBehaviour)
            and behaviour.outcome is SimulatedOutcome.REFUSED
        ):
            raise ImageRefusedError(
                f"{self._name} refused {image.release}: it is not made for this model",
                fix="choose a release for this model",
                where=str(image.file),
            )
        self._staged = image

    def activate(self) -> None:
        """Start the upgrade to the image that was installed."""
        if self._staged is None:
            raise DeviceError(
                f"{self._name} has no image to activate", fix="install an image first"
            )
        self._simulation.upgrade(self._name, self._staged)
        self._staged = None

    def verify(self) -> Verification:
        """Tell how far the upgrade is; see Device."""
        image = self._simulation.running(self._name)
        return Verification(
            release=image.release if image else None,
            finished=self._simulation.finished(self._name),
            message="activation failed, previous release started again"
            if self._simulation.fell_back(self._name)
            else "",
        )

    def restore(self, image: Image) -> None:
        """Run the image as if nothing had happened."""
        self._simulation.boot(self._name, image)
        self._staged = None

    def close(self) -> None:
        """Nothing was opened."""
