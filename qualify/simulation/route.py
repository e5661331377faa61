"""Which devices a path crosses, found from the cables of the testbed."""

from collections import deque

from qualify.testbed.testbed import Path, Testbed


def duts_on(testbed: Testbed, path: Path) -> tuple[str, ...]:
    """Return the devices of a path in the order in which its first direction crosses them.

    The shortest way over the links is taken; when the two ends are not connected, the two
    devices at the ends are returned.
    """
    first, last = (testbed.port(name).attach.dut for name in path.ports)
    came_from = {first: first}
    waiting = deque([first])
    while waiting and last not in came_from:
        here = waiting.popleft()
        for there in _next_to(testbed, here):
            if there not in came_from:
                came_from[there] = here
                waiting.append(there)
    return _walk_back(came_from, first, last)


def _next_to(testbed: Testbed, dut: str) -> list[str]:
    pairs = [(link.a.dut, link.b.dut) for link in testbed.links]
    return [b for a, b in pairs if a == dut] + [a for a, b in pairs if b == dut]


def _walk_back(came_from: dict[str, str], first: str, last: str) -> tuple[str, ...]:
    if last not in came_from:
        return (first, last)
    steps = [last]
    while steps[-1] != first:
        steps.append(came_from[steps[-1]])
    return tuple(reversed(steps))
