"""One testbed, one case and one pair of images, written out by hand for the tests of many rooms."""

from dataclasses import replace
from pathlib import Path as FilePath

from qualify.testbed.case import Case, NeighborBudget, Order, PathBudget, RouteBudget, StreamSpec
from qualify.testbed.image import Image, SimulatedBehaviour, SimulatedOutcome
from qualify.testbed.testbed import (
    Attachment,
    BenchKind,
    Dut,
    Link,
    Path,
    PathKind,
    Port,
    Testbed,
    Tester,
)

TESTBED = Testbed(
    name="quay-one-tier",
    kind=BenchKind.SIMULATED,
    tester=Tester(
        "simulated",
        tuple(Port(f"p{n}", Attachment("d1", f"e{n}")) for n in range(1, 7)),
    ),
    duts=(Dut("d1", 1, "simulated", "5.1.0"),),
    links=(),
    paths=(
        Path("l2", PathKind.L2, None, ("p1", "p2"), hosts=3, routes=None),
        Path("igp", PathKind.IGP, "ospf", ("p3", "p4"), hosts=None, routes=5),
        Path("egp", PathKind.EGP, "bgp", ("p5", "p6"), hosts=None, routes=8),
    ),
    images=FilePath("images"),
    file=FilePath("testbeds/sample.yaml"),
    sha256="0" * 64,
)

THREE_TIERS = replace(
    TESTBED,
    tester=Tester(
        "simulated",
        tuple(Port(f"p{n}", Attachment("d1" if n % 2 else "d3", f"e{n}")) for n in range(1, 7)),
    ),
    duts=tuple(Dut(f"d{n}", n, "simulated", "5.1.0") for n in (1, 2, 3)),
    links=(
        Link(Attachment("d1", "e8"), Attachment("d2", "e7")),
        Link(Attachment("d3", "e7"), Attachment("d2", "e8")),
    ),
)

CASE = Case(
    name="mixed-one-tier",
    paths=("l2", "igp", "egp"),
    tiers=1,
    order=Order.SIMULTANEOUS,
    trials=2,
    stream=StreamSpec(offered_load_pps=1_000, frame_octets=128),
    budgets={name: PathBudget(50_000_000) for name in ("l2", "igp", "egp")},
    neighbors=NeighborBudget(flaps=0, graceful_restarts_allowed=True),
    routes=RouteBudget(lost=0),
    file=FilePath("cases/mixed-one-tier.yaml"),
    sha256="1" * 64,
)

UNTOUCHED = SimulatedBehaviour(
    outcome=SimulatedOutcome.UPGRADED,
    upgrade_ns=60_000_000_000,
    interruptions={},
    neighbors={},
    routes_lost={},
)


def image(release: str, behaviour: SimulatedBehaviour = UNTOUCHED) -> Image:
    """Make an image whose payload is this very file."""
    return Image(
        name=f"tern6-{release}",
        maker="Ostrevane",
        model="Tern 6",
        train=release[:3],
        release=release,
        driver="simulated",
        payload=FilePath(__file__),
        sha256="2" * 64,
        behaviour=behaviour,
        file=FilePath(f"images/{release}.yaml"),
    )
