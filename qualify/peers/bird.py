"""Peer ``virtual``: a BIRD in the namespace of its tester port."""

import re
import time
from pathlib import Path

from qualify.errors import LabError, PeerError
from qualify.measure.observation import NeighborHistory
from qualify.peers.bird_configuration import PROTOCOL, write_configuration
from qualify.peers.bird_log import read_log
from qualify.peers.bird_socket import ask_bird
from qualify.plan.trial import PeerPlan
from qualify.site import Site
from qualify.units import NS_PER_S

UP_STATES = {"ospf": "Full", "bgp": "Established"}
STOP_TIMEOUT_S = 5

# OSPF also tells the networks of the cables; the routes of the path are all external ones.
_COUNT = {
    "ospf": f"show route count protocol {PROTOCOL} where source = RTS_OSPF_EXT2",
    "bgp": f"show route count protocol {PROTOCOL}",
}
_STATE = {"ospf": f"show ospf neighbors {PROTOCOL}", "bgp": f"show protocols {PROTOCOL}"}
_COUNTED = re.compile(r"^\s?(?:\d{4}.)?(\d+) of \d+ routes", re.MULTILINE)


class BirdPeer:
    """One routing peer of a virtual device."""

    def __init__(self, plan: PeerPlan, site: Site) -> None:
        lab = site.in_lab("the peer 'virtual'")
        self._plan = plan
        self._clock = site.clock
        self._namespace = lab.namespace(plan.port)
        self._programs = lab.programs
        self._folder = f"/run/peers/{plan.port}"

    @property
    def folder(self) -> Path:
        """The folder of its configuration, log and control socket, seen from outside."""
        return self._namespace.root / self._folder.removeprefix("/")

    def start(self) -> None:
        """Start speaking and originate the routes; see Peer."""
        configuration = write_configuration(self._plan, folder=self._folder)
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / "bird.conf").write_text(configuration)
        bird = [self._programs.path("bird"), "-c", f"{self._folder}/bird.conf"]
        bird += ["-s", f"{self._folder}/bird.ctl", "-P", f"{self._folder}/bird.pid"]
        address = ["addr", "replace", str(self._plan.here.tester), "dev", self._plan.port]
        try:
            self._namespace.run(self._programs.path("ip"), *address)
            self._namespace.run("env", "TZ=UTC", *bird)
        except LabError as error:
            raise PeerError(
                f"the peer at {self._plan.port} did not start: {error.problem}", fix=error.fix
            ) from error

    def up(self) -> bool:
        """Tell whether the session is in service now; one under graceful restart is not."""
        return UP_STATES[self._plan.protocol] in self._ask(_STATE[self._plan.protocol])

    def routes(self) -> int | None:
        """Count the routes learned through the device, those kept during its restart included."""
        counted = _COUNTED.search(self._ask(_COUNT[self._plan.protocol]))
        return int(counted.group(1)) if counted else None

    def history(self, *, since_ns: int) -> NeighborHistory:
        """Return what the log tells since that time; see Peer."""
        try:
            text = (self.folder / "bird.log").read_text(errors="replace")
        except OSError as error:
            raise PeerError(
                f"the peer at {self._plan.port} has no log: {error.strerror}",
                fix="start the peer first, and read its history before the lab is removed",
            ) from error
        log = read_log(text, protocol=self._plan.protocol)
        return NeighborHistory(
            path=self._plan.path,
            observer=self._plan.port,
            protocol=self._plan.protocol,
            up_state=UP_STATES[self._plan.protocol],
            hold_ns=self._plan.hold_s * NS_PER_S,
            before=log.state_at(since_ns),
            after=log.state_at(self._clock.now_ns()),
            events=tuple(event for event in log.events if event.at_ns >= since_ns),
        )

    def stop(self) -> None:
        """Say goodbye to the device and end; safe more than once.

        Raises:
            PeerError: it did not end.
        """
        control = self.folder / "bird.ctl"
        if not control.exists():
            return
        self._ask("down")
        deadline = time.monotonic() + STOP_TIMEOUT_S
        while control.exists():
            if time.monotonic() > deadline:
                raise PeerError(
                    f"the peer at {self._plan.port} did not end within {STOP_TIMEOUT_S} s",
                    fix="end the lab, which ends it: qualify lab down",
                )
            time.sleep(0.02)

    def _ask(self, question: str) -> str:
        return ask_bird(self.folder / "bird.ctl", question)
