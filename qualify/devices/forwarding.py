"""The forwarding of a virtual device: the kernel's bridges, its table, and the switch for both.

The ports themselves are never touched: they stay electrically up, so that a tester keeps its
carrier and every frame is still counted where it comes in, whatever becomes of it.
"""

from collections.abc import Mapping

from qualify.lab.namespace import Namespace

_PROTOCOL_OF_NEXTHOPS = 11


class Forwarding:
    """What a device does with frames; ``switched`` are the ports that each bridge joins."""

    def __init__(
        self, namespace: Namespace, *, ip: str, switched: Mapping[str, tuple[str, ...]]
    ) -> None:
        self._namespace = namespace
        self._ip = ip
        self._bridges = {
            f"sw{number}": ports for number, ports in enumerate(switched.values(), start=1)
        }

    def start(self) -> None:
        """Switch between the ports of each bridge, and let the kernel route."""
        lines = ["set -e"]
        for bridge, ports in self._bridges.items():
            # Without a tree protocol there is nothing to wait for before a port forwards.
            lines.append(
                f"{self._ip} link add {bridge} type bridge stp_state 0 forward_delay 0 || true"
            )
            lines.append(f"{self._ip} link set {bridge} up")
            lines += [f"{self._ip} link set {port} master {bridge}" for port in ports]
        lines.append("echo 1 > /proc/sys/net/ipv4/ip_forward")
        self._run(lines)

    def stop(self) -> None:
        """Forward nothing any more, from one moment to the next."""
        lines = ["set -e", "echo 0 > /proc/sys/net/ipv4/ip_forward"]
        lines += [
            f"{self._ip} link set {port} nomaster"
            for ports in self._bridges.values()
            for port in ports
        ]
        self._run(lines)

    def forget(self) -> None:
        """Lose everything that was learned: routes, addresses, bridges."""
        # Learned routes stand on next-hop objects, and go with them whatever their number.
        lines = ["set -e", f"{self._ip} nexthop flush proto {_PROTOCOL_OF_NEXTHOPS}"]
        lines.append(f"{self._ip} address flush scope global")
        lines += [f"{self._ip} link delete {bridge} || true" for bridge in self._bridges]
        self._run(lines)

    def _run(self, lines: list[str]) -> None:
        self._namespace.run("sh", "-s", stdin="\n".join([*lines, ""]))
