"""The streams of a case: one in each direction of each path, over every destination."""

from qualify.frames import Layout
from qualify.plan.addressing import Host, PortAddresses, host_in
from qualify.plan.stream import Destination, Stream
from qualify.testbed.case import Case
from qualify.testbed.testbed import Testbed


def plan_streams(
    testbed: Testbed, case: Case, addresses: dict[str, PortAddresses]
) -> tuple[Stream, ...]:
    """Plan the streams of a case, numbered from 0 in the order of its paths.

    Both directions of a path get the same rate (RFC 2544 §14).
    """
    directions = [
        (path, sender, receiver)
        for path in map(testbed.path, case.paths)
        for sender, receiver in (path.ports, path.ports[::-1])
    ]
    return tuple(
        Stream(
            number=number,
            path=path.name,
            kind=path.kind,
            sender=sender,
            receiver=receiver,
            destinations=_destinations(addresses[sender], addresses[receiver]),
            rate_pps=case.stream.offered_load_pps,
            frame_octets=case.stream.frame_octets,
            layout=Layout(path.headers, path.vlans),
            mix=case.stream.mix,
        )
        for number, (path, sender, receiver) in enumerate(directions)
    )


def _destinations(here: PortAddresses, there: PortAddresses) -> tuple[Destination, ...]:
    if there.hosts:
        return tuple(map(_between_hosts, here.hosts, there.hosts))
    return tuple(
        Destination(
            name=str(prefix),
            source=host_in(here.prefixes[index % len(here.prefixes)]),
            target=host_in(prefix),
            source_mac=None,
            target_mac=None,
        )
        for index, prefix in enumerate(there.prefixes)
    )


def _between_hosts(source: Host, target: Host) -> Destination:
    return Destination(
        name=target.mac,
        source=source.address,
        target=target.address,
        source_mac=source.mac,
        target_mac=target.mac,
    )
