"""The virtual lab: one namespace for each device and tester port, cables between them."""

from subprocess import Popen
from types import TracebackType
from typing import Self

from qualify.errors import LabError
from qualify.lab.counters import counting_rules, read_counters
from qualify.lab.enclosure import Enclosure
from qualify.lab.layout import Cable, Layout, lay_out
from qualify.lab.lock import LabLock
from qualify.lab.machine import missing_for_lab
from qualify.lab.namespace import Namespace
from qualify.lab.programs import Programs, lab_programs
from qualify.measure.observation import PortCount
from qualify.testbed.frame_sizes import LARGEST_FRAME_OCTETS
from qualify.testbed.testbed import Testbed

# A port answers to its own addresses only, tells nobody about better ways, and takes frames from
# wherever they come: the tester speaks for thousands of hosts behind one port.
QUIET = """
set -e
echo 1 > /proc/sys/net/ipv6/conf/all/disable_ipv6
echo 1 > /proc/sys/net/ipv6/conf/default/disable_ipv6
for where in all default; do
  echo 0 > /proc/sys/net/ipv4/conf/$where/rp_filter
  echo 0 > /proc/sys/net/ipv4/conf/$where/send_redirects
  echo 0 > /proc/sys/net/ipv4/conf/$where/accept_redirects
done
"""


# The largest test frame fits, less MAC addresses, type and check sequence.
PORT_MTU = LARGEST_FRAME_OCTETS - 18


class Lab:
    """All namespaces of a testbed, from entering the context to leaving it.

    Raises:
        LabError: the machine lacks something, the testbed asks for too much, or somebody else
            has the lab of this testbed.
    """

    def __init__(self, testbed: Testbed, *, programs: Programs | None = None) -> None:
        self.testbed = testbed
        self.programs = programs or lab_programs()
        self.layout = lay_out(testbed)
        _check_machine(self.programs)
        self._lock = LabLock(testbed.name)
        try:
            self._enclosure = Enclosure()
        except BaseException:
            self._lock.release()
            raise
        try:
            self._build()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def first_process(self) -> int:
        """The number, outside, of the first process inside the lab."""
        return self._enclosure.first_process

    def namespace(self, name: str) -> Namespace:
        """Return the namespace of a device or of a tester port, by its name in the testbed."""
        if name not in self.layout.namespaces:
            raise LabError(
                f"the lab has no namespace {name!r}",
                fix=f"choose one of {', '.join(self.layout.namespaces)}",
            )
        return Namespace(name, self._enclosure, ip=self.programs.path("ip"))

    def spawn(self, *command: str) -> "Popen[bytes]":
        """Start a process inside the lab, with pipes to its input and output.

        It sees the namespaces as ``/run/netns/NAME``. It ends with the lab, and also when the
        returned process is killed.
        """
        return self._enclosure.spawn(*command)

    def port_access(self, name: str) -> Cable:
        """Return how to reach a tester port.

        Raises:
            LabError: there is no port of that name.
        """
        for wire in self.layout.wires:
            if wire.port == name:
                return Cable(wire.port, wire.port_mac, wire.dut_mac, self.namespace(name).file)
        raise LabError(
            f"the lab has no tester port {name!r}",
            fix=f"choose one of {', '.join(self.layout.ports)}",
        )

    def frame_counts(self, dut: str) -> tuple[PortCount, ...]:
        """Return the test frames that each port of a device received and sent so far, exactly."""
        listing = self.namespace(dut).run(
            self.programs.path("nft"), "-j", "list", "counters", "table", "netdev", "lab_truth"
        )
        return read_counters(listing, dut_ports(self.layout, dut))

    def close(self) -> None:
        """Remove everything; safe more than once."""
        self._enclosure.close()
        self._lock.release()

    def _build(self) -> None:
        layout = self.layout
        ip = self.programs.path("ip")
        self._batch(*(f"netns add {name}" for name in layout.namespaces))
        for name in layout.namespaces:
            self.namespace(name).run("sh", "-s", stdin=QUIET)
        self._batch(
            *(
                f"link add {wire.port} mtu {PORT_MTU} netns {wire.port} "
                f"address {wire.port_mac} type veth peer name {wire.dut_port} mtu {PORT_MTU} "
                f"netns {wire.dut} address {wire.dut_mac}"
                for wire in layout.wires
            )
        )
        for wire in layout.wires:
            self._enclosure.run(ip, "-n", wire.port, "link", "set", wire.port, "up")
            self._enclosure.run(ip, "-n", wire.dut, "link", "set", wire.dut_port, "up")
        for dut in layout.duts:
            rules = counting_rules(dut_ports(layout, dut))
            self.namespace(dut).run(self.programs.path("nft"), "-f", "-", stdin=rules)
        self._lock.tell(first_process=self.first_process, namespaces=layout.namespaces)

    def _batch(self, *commands: str) -> None:
        self._enclosure.run(self.programs.path("ip"), "-batch", "-", stdin="\n".join(commands))


def dut_ports(layout: Layout, dut: str) -> tuple[str, ...]:
    """Return the ports of a device, in the order of the tester ports that they are cabled to."""
    return tuple(wire.dut_port for wire in layout.wires if wire.dut == dut)


def _check_machine(programs: Programs) -> None:
    missing = missing_for_lab(programs)
    if missing:
        raise LabError(
            "the virtual lab cannot be built here; missing: " + "; ".join(missing),
            fix="provide it, or use a testbed of kind: simulated",
        )
