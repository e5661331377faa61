"""Whether the frames of a case hold what the paths of a testbed put into them."""

from qualify.errors import PlanError
from qualify.frames import Layout
from qualify.testbed.case import Case
from qualify.testbed.testbed import Headers, Path, Testbed


def frames_too_small(testbed: Testbed, case: Case) -> list[PlanError]:
    """Object to every path whose headers, tags and test payload need larger frames."""
    smallest = min(case.stream.sizes)
    return [
        _objection(case, path, smallest)
        for path in map(testbed.path, case.paths)
        if smallest < Layout(path.headers, path.vlans).smallest_frame_octets
    ]


def _objection(case: Case, path: Path, smallest: int) -> PlanError:
    needed = Layout(path.headers, path.vlans).smallest_frame_octets
    return PlanError(
        f"frames of {smallest} octets are too small for path {path.name}: {_contents(path)} "
        "and the test payload do not fit in",
        fix=f"send no frames of less than {needed} octets, or change the headers or vlans of "
        f"path {path.name}",
        where=f"{case.file} stream.frame_octets",
    )


def _contents(path: Path) -> str:
    tags = ("no VLAN tag", "a VLAN tag", "two VLAN tags")[len(path.vlans)]
    names = {
        Headers.ETHERNET: "Ethernet",
        Headers.IPV4: "IPv4 and UDP",
        Headers.IPV6: "IPv6 and UDP",
    }
    return f"{names[path.headers]}, {tags}"
