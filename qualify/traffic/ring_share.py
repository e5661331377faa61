"""Which worker serves which port: one worker for each processor, equally loaded."""

from collections.abc import Sequence

from qualify.plan.stream import Stream

# Sending a frame costs so many times more than receiving one: it goes through the whole stack.
_SENDING_COST = 8


def share_ports(streams: Sequence[Stream], *, workers: int) -> tuple[tuple[str, ...], ...]:
    """Deal out the ports that streams use: the busiest one first, to whoever has least to do.

    Args:
        streams: all streams of the trial.
        workers: how many there can be.

    Returns:
        The ports of each worker; nobody is without.
    """
    load: dict[str, int] = {}
    for stream in streams:
        load[stream.sender] = load.get(stream.sender, 0) + _SENDING_COST * stream.rate_pps
        load[stream.receiver] = load.get(stream.receiver, 0) + stream.rate_pps
    shares: list[list[str]] = [[] for _ in range(min(workers, len(load)))]
    for port in sorted(load, key=lambda name: -load[name]):
        least = min(shares, key=lambda share: sum(load[name] for name in share))
        least.append(port)
    return tuple(map(tuple, shares))
