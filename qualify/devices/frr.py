"""The routing software of a virtual device: FRR in the device's own namespace and folder."""

from collections.abc import Mapping
from pathlib import Path

from qualify.errors import DeviceError, LabError
from qualify.lab.namespace import Namespace
from qualify.lab.programs import Programs

DAEMONS = ("zebra", "ospfd", "bgpd")
KERNEL_PROTOCOLS = {"ospf": 188, "bgp": 186}
"""Numbers under which the routes of a protocol stand in the kernel's table."""

_VIEW = "mkdir -p /run/frr && mount --bind {folder} /run/frr"

# The daemons start with nothing; then vtysh gives each of them its part of the configuration.
_START = """
set -e
{view}
{daemons}
{vtysh} --config_dir /run/frr -b
"""
_START_ONE = (
    "{program} -d -P 0 -f /dev/null --log file:/run/frr/frr.log {options}"
    " < /dev/null >> /run/frr/start.log 2>&1 || {{ cat /run/frr/start.log >&2; exit 1; }}"
)

# Ends the daemons, zebra first: left alone with the kernel's table it would take away what the
# others had put there. Then waits until all of them are gone.
_END = """
cd {folder}
daemons=$(cat zebra.pid ospfd.pid bgpd.pid 2> /dev/null)
test -z "$daemons" || kill -{signal} $daemons 2> /dev/null
tries={tries}
for daemon in $daemons; do
  while kill -0 $daemon 2> /dev/null; do
    tries=$((tries - 1))
    test $tries -gt 0 || kill -KILL $daemon
    sleep 0.02
  done
done
rm -f zebra.pid ospfd.pid bgpd.pid
"""
_PATIENCE = {"KILL": 100, "TERM": 50}


class Frr:
    """FRR on one virtual device; its files live in ``folder``, inside the lab."""

    def __init__(self, namespace: Namespace, programs: Programs) -> None:
        self._namespace = namespace
        self._programs = programs
        self._folder = f"/run/duts/{namespace.name}/frr"

    @property
    def folder(self) -> Path:
        """The folder of its files, seen from outside."""
        return self._namespace.root / self._folder.removeprefix("/")

    def start(self, configuration: str, *, kept_routes_s: int | None) -> None:
        """Start the daemons with that configuration and return when they run.

        Args:
            configuration: in FRR's words.
            kept_routes_s: how long the kernel routes of the last start are kept while they are
                learned again; ``None`` forgets everything about the last start.

        Raises:
            LabError: a daemon did not start.
        """
        if kept_routes_s is None:
            self._namespace.run("rm", "-rf", self._folder)
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / "frr.conf").write_text(configuration)
        (self.folder / "vtysh.conf").write_text("username root nopassword\n")
        keep = {} if kept_routes_s is None else {"zebra": f"-K {kept_routes_s}"}
        self._namespace.run("sh", "-s", stdin=self._start_script(keep))

    def end(self, signal: str) -> None:
        """End the daemons: ``KILL`` lets them tell nobody, ``TERM`` lets them say goodbye."""
        if self.folder.is_dir():
            script = _END.format(folder=self._folder, signal=signal, tries=_PATIENCE[signal])
            self._namespace.run("sh", "-s", stdin=script)

    def prepare_restart(self) -> None:
        """Ask the OSPF neighbors to keep the routes (RFC 3623 §2.1); BGP needs no warning."""
        self.ask("graceful-restart prepare ip ospf")

    def ask(self, *commands: str) -> str:
        """Give commands to all daemons and return the answer.

        Raises:
            DeviceError: they do not run or do not understand.
        """
        asked = " ".join(f"-c '{command}'" for command in commands)
        vtysh = self._programs.path("vtysh")
        script = f"{self._view()} && exec {vtysh} --config_dir /run/frr {asked}"
        try:
            return self._namespace.run("sh", "-c", script)
        except LabError as error:
            raise DeviceError(
                f"{self._namespace.name} does not answer: {error.problem}", fix=error.fix
            ) from error

    def kernel_routes(self, protocol: str) -> int:
        """Count the routes of a protocol in the forwarding table of the kernel."""
        ip = self._programs.path("ip")
        number = str(KERNEL_PROTOCOLS[protocol])
        return len(self._namespace.run(ip, "route", "show", "proto", number).splitlines())

    def _view(self) -> str:
        return _VIEW.format(folder=self._folder)

    def _start_script(self, options: Mapping[str, str]) -> str:
        daemons = [
            _START_ONE.format(program=self._programs.path(name), options=options.get(name, ""))
            for name in DAEMONS
        ]
        return _START.format(
            view=self._view(), daemons="\n".join(daemons), vtysh=self._programs.path("vtysh")
        )
