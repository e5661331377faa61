"""Driver ``virtual``: a device in the virtual lab, with real routing software and a real kernel."""

import json
import shutil
import threading
from dataclasses import dataclass
from pathlib import Path

from qualify.devices.device import DeviceNeighbor, Facts, Tables, Verification
from qualify.devices.forwarding import Forwarding
from qualify.devices.frr import Frr
from qualify.devices.frr_answers import graceful_restart_is_on, read_neighbors
from qualify.devices.frr_configuration import switched_ports, write_configuration
from qualify.devices.sums import check_sum
from qualify.errors import DeviceError, QualifyError
from qualify.plan.peers import plan_peers
from qualify.site import Site
from qualify.testbed.image import Image, UpgradeMethod, VirtualBehaviour
from qualify.testbed.testbed import Dut

ANNOUNCE_S = 0.3
"""How long the neighbors are given to hear of a graceful restart before it happens."""

END_TIMEOUT_S = 30

_NEIGHBOR_QUESTIONS = {"ospf": "show ip ospf neighbor json", "bgp": "show bgp summary json"}


@dataclass(frozen=True, slots=True)
class _Staged:
    """An image that lies on the device, its sum checked."""

    image: Image
    behaviour: VirtualBehaviour
    additions: str


class VirtualDevice:
    """One device of the virtual lab.

    A release is a payload that is added to the configuration, and the way in which the device
    changes to it; the routing software itself is the same.
    """

    def __init__(self, dut: Dut, site: Site) -> None:
        lab = site.in_lab("the driver 'virtual'")
        namespace = lab.namespace(dut.name)
        self._name = dut.name
        self._folder = namespace.root / "run" / "duts" / dut.name
        self._frr = Frr(namespace, lab.programs)
        self._forwarding = Forwarding(
            namespace,
            ip=lab.programs.path("ip"),
            switched=switched_ports(site.testbed, dut),
        )
        self._configuration = write_configuration(site.testbed, dut)
        self._protocols = tuple(
            sorted(
                {
                    peer.protocol
                    for peer in plan_peers(site.testbed)
                    if site.testbed.port(peer.port).attach.dut == dut.name
                }
            )
        )
        self._staged: _Staged | None = None
        self._upgrade: threading.Thread | None = None
        self._problem = ""
        self._closing = threading.Event()

    def facts(self) -> Facts:
        """Read what runs, and ask the routing software which redundancy features are on."""
        software = self._read_software()
        running = self._frr.ask("show running-config")
        return Facts(
            maker=software["maker"],
            model=software["model"],
            release=software["release"],
            redundancy={
                f"{protocol} graceful restart": graceful_restart_is_on(protocol, running)
                for protocol in self._protocols
            },
        )

    def tables(self) -> Tables:
        """Ask the routing software for its neighbors, and the kernel for its routes."""
        neighbors: list[DeviceNeighbor] = []
        for protocol in self._protocols:
            answer = self._frr.ask(_NEIGHBOR_QUESTIONS[protocol])
            neighbors += read_neighbors(protocol, answer)
        routes = {protocol: self._frr.kernel_routes(protocol) for protocol in self._protocols}
        return Tables(tuple(neighbors), routes)

    def install(self, image: Image) -> None:
        """Copy the payload into the device's staging folder and check its sum there."""
        self._staged = self._stage(image)

    def activate(self) -> None:
        """Start the upgrade to the installed image, in the background and exactly once.

        Raises:
            DeviceError: nothing is installed, or an upgrade is under way.
        """
        if self._staged is None or self._is_upgrading():
            raise DeviceError(
                f"{self._name} cannot activate: "
                + ("an upgrade is under way" if self._is_upgrading() else "no image is installed"),
                fix="install an image first, and activate it once",
            )
        staged, self._staged = self._staged, None
        self._problem = ""
        self._closing.clear()
        self._upgrade = threading.Thread(
            target=self._change_to, args=(staged,), name=f"upgrade of {self._name}", daemon=True
        )
        self._upgrade.start()

    def verify(self) -> Verification:
        """Tell how far the upgrade is; see Device."""
        if self._is_upgrading():
            return Verification(release=None, finished=False, message="")
        try:
            return Verification(self.facts().release, finished=True, message=self._problem)
        except DeviceError as error:
            message = self._problem or error.problem
            return Verification(None, finished=self._upgrade is not None, message=message)

    def restore(self, image: Image) -> None:
        """Start this image from nothing, whatever ran before, and wait until it runs."""
        self.close()
        staged = self._stage(image)
        self._stop_everything()
        self._start(staged, kept_routes_s=None)
        self._upgrade = None
        self._problem = ""

    def close(self) -> None:
        """Let an upgrade that is under way end, without the time that booting would take."""
        self._closing.set()
        if self._upgrade is not None:
            self._upgrade.join(END_TIMEOUT_S)

    def _is_upgrading(self) -> bool:
        return self._upgrade is not None and self._upgrade.is_alive()

    def _change_to(self, staged: _Staged) -> None:
        """Upgrade; runs in its own thread, so that a problem is kept for whoever verifies."""
        try:
            if staged.behaviour.method is UpgradeMethod.GRACEFUL:
                self._restart_gracefully(staged)
            else:
                self._reload(staged)
        except QualifyError as error:
            self._problem = error.problem

    def _restart_gracefully(self, staged: _Staged) -> None:
        """Change the routing software while the kernel forwards on (RFC 3623, RFC 4724)."""
        if "ospf" in self._protocols:
            self._frr.prepare_restart()
            self._closing.wait(ANNOUNCE_S)
        self._forget_software()
        # Software that ends in good order takes its routes with it: this one must not.
        self._frr.end("KILL")
        self._start(staged, kept_routes_s=staged.behaviour.kept_routes_s)

    def _reload(self, staged: _Staged) -> None:
        """Stop forwarding, lose everything, and start from nothing after the time of a boot."""
        self._stop_everything()
        self._closing.wait(staged.behaviour.boot_s)
        self._start(staged, kept_routes_s=None)

    def _stop_everything(self) -> None:
        self._forwarding.stop()
        self._forget_software()
        self._frr.end("TERM")
        self._forwarding.forget()

    def _start(self, staged: _Staged, *, kept_routes_s: int | None) -> None:
        self._forwarding.start()
        configuration = f"{self._configuration}{staged.additions}"
        self._frr.start(configuration, kept_routes_s=kept_routes_s)
        image = staged.image
        software = {"maker": image.maker, "model": image.model, "release": image.release}
        self._software.write_text(json.dumps(software))

    def _stage(self, image: Image) -> _Staged:
        if not isinstance(image.behaviour, VirtualBehaviour):
            raise DeviceError(
                f"{image.name} is made for a device of driver {image.driver}, not for {self._name}",
                fix="choose an image with driver: virtual",
                where=str(image.file),
            )
        staging = self._folder / "staging"
        staging.mkdir(parents=True, exist_ok=True)
        payload = Path(shutil.copy(image.payload, staging))
        check_sum(image, payload, dut=self._name)
        return _Staged(image, image.behaviour, payload.read_text(errors="replace"))

    @property
    def _software(self) -> Path:
        return self._folder / "software.json"

    def _forget_software(self) -> None:
        self._software.unlink(missing_ok=True)

    def _read_software(self) -> dict[str, str]:
        try:
            software: dict[str, str] = json.loads(self._software.read_text())
        except FileNotFoundError as error:
            raise DeviceError(
                f"{self._name} runs no software now",
                fix="wait until its upgrade has finished, or restore it",
            ) from error
        return software
