"""Tester ports joined to each other, with no device between them, in an enclosure."""

from collections.abc import Sequence
from types import TracebackType
from typing import Self

from qualify.errors import LabError
from qualify.lab.enclosure import Enclosure
from qualify.lab.lab import PORT_MTU, QUIET
from qualify.lab.layout import Cable
from qualify.lab.namespace import Namespace
from qualify.lab.programs import Programs, lab_programs


class Patch:
    """Pairs of ports, each pair with one cable, from entering the context to leaving it.

    Every port has a namespace of its own, so nothing that is sent can reach anything else.

    Raises:
        LabError: the machine does not allow it.
    """

    def __init__(
        self, pairs: Sequence[tuple[str, str]], *, programs: Programs | None = None
    ) -> None:
        self._programs = programs or lab_programs()
        self._ip = self._programs.path("ip")
        self._others = {a: b for pair in pairs for a, b in (pair, pair[::-1])}
        self._macs = {
            port: f"02:30:00:00:{number >> 8:02x}:{number & 0xFF:02x}"
            for number, port in enumerate(self._others, start=1)
        }
        self._enclosure = Enclosure()
        try:
            self._build(pairs)
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
    def ports(self) -> tuple[str, ...]:
        """Return the names of all ports."""
        return tuple(self._others)

    def port_access(self, name: str) -> Cable:
        """Return how to reach a port; the gateway is the port at the other end of its cable.

        Raises:
            LabError: there is no port of that name.
        """
        if name not in self._others:
            raise LabError(
                f"no cable leads to a port {name!r}", fix=f"choose one of {', '.join(self._others)}"
            )
        other = self._others[name]
        return Cable(name, self._macs[name], self._macs[other], self.namespace(name).file)

    def close(self) -> None:
        """Remove everything; safe more than once."""
        self._enclosure.close()

    def namespace(self, name: str) -> Namespace:
        """Return the namespace of a port."""
        return Namespace(name, self._enclosure, ip=self._ip)

    def _build(self, pairs: Sequence[tuple[str, str]]) -> None:
        self._batch(*(f"netns add {port}" for port in self._others))
        for port in self._others:
            self.namespace(port).run("sh", "-s", stdin=QUIET)
        self._batch(
            *(
                f"link add {a} mtu {PORT_MTU} netns {a} address {self._macs[a]} type veth "
                f"peer name {b} mtu {PORT_MTU} netns {b} address {self._macs[b]}"
                for a, b in pairs
            )
        )
        for port in self._others:
            self._enclosure.run(self._ip, "-n", port, "link", "set", port, "up")

    def _batch(self, *commands: str) -> None:
        self._enclosure.run(self._ip, "-batch", "-", stdin="\n".join(commands))
