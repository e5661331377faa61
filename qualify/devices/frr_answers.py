"""What FRR answers about itself: from its JSON and its running configuration to our words."""

import json
import re

from qualify.devices.device import DeviceNeighbor
from qualify.errors import DeviceError

_RESTART_ON = {
    "ospf": re.compile(r"^router ospf$.*?^ graceful-restart( grace-period \d+)?$", re.M | re.S),
    "bgp": re.compile(r"^router bgp \d+$.*?^ bgp graceful-restart$", re.M | re.S),
}


def read_neighbors(protocol: str, answer: str) -> tuple[DeviceNeighbor, ...]:
    """Read ``show ip ospf neighbor json`` or ``show bgp summary json``.

    Raises:
        DeviceError: the answer is not what this version of FRR gives.
    """
    read = _read_ospf if protocol == "ospf" else _read_bgp
    try:
        return read(answer)
    except (ValueError, KeyError, TypeError) as error:
        raise DeviceError(
            f"the device's list of {protocol} neighbors cannot be read: {error}",
            fix="use FRR 8.4: qualify lab fetch",
        ) from error


def graceful_restart_is_on(protocol: str, running_configuration: str) -> bool:
    """Tell from ``show running-config`` whether graceful restart is on for a protocol."""
    blocks = re.split(r"^exit$", running_configuration, flags=re.M)
    return any(_RESTART_ON[protocol].search(block) for block in blocks)


def _read_ospf(answer: str) -> tuple[DeviceNeighbor, ...]:
    entries = [each for found in json.loads(answer)["neighbors"].values() for each in found]
    return tuple(
        DeviceNeighbor(
            "ospf", each["ifaceAddress"], each["nbrState"], up=each["nbrState"].startswith("Full")
        )
        for each in entries
    )


def _read_bgp(answer: str) -> tuple[DeviceNeighbor, ...]:
    peers = json.loads(answer).get("ipv4Unicast", {"peers": {}})["peers"]
    return tuple(
        DeviceNeighbor("bgp", address, peer["state"], up=peer["state"] == "Established")
        for address, peer in peers.items()
    )
