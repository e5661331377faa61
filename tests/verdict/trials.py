"""One trial on one device, written out by hand: 60 s at 1000 frames/s, upgraded after 20 s."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from ipaddress import IPv4Address

from qualify.measure.capture import Capture
from qualify.measure.kept_frames import KeptFrames, capture_frames
from qualify.measure.observation import (
    DutObservation,
    NeighborHistory,
    Observation,
    PhaseSpan,
    RouteHistory,
)
from qualify.plan.stream import Destination, Stream
from qualify.plan.trial import TrialPlan
from qualify.testbed.testbed import PathKind
from qualify.units import NS_PER_S
from tests.measure.captures import START_NS, even_frames
from tests.sample import CASE

FRAMES = 60_000
UPGRADE_AT = 20_000  # number of the first frame that leaves after the activate command
ACTIVATED_NS = START_NS + 20 * NS_PER_S
STOPPED_NS = START_NS + 60 * NS_PER_S
ROUTES = 4


def stream(number: int, path: str, kind: PathKind, sender: str, receiver: str) -> Stream:
    """A stream with as many destinations as there are routes."""
    return Stream(
        number=number,
        path=path,
        kind=kind,
        sender=sender,
        receiver=receiver,
        destinations=tuple(
            Destination(f"route {n}", IPv4Address(1), IPv4Address(n), None, None)
            for n in range(ROUTES)
        ),
        rate_pps=1_000,
        frame_octets=128,
    )


PLAN = TrialPlan(
    case=CASE,
    number=1,
    streams=(
        stream(1, "l2", PathKind.L2, "p1", "p2"),
        stream(2, "egp", PathKind.EGP, "p5", "p6"),
        stream(3, "egp", PathKind.EGP, "p6", "p5"),
    ),
    steady_ns=15 * NS_PER_S,
    recover_ns=5 * NS_PER_S,
    settle_ns=0,
    patience_ns=90 * NS_PER_S,
)

DUT = DutObservation("d1", 1, "5.1.0", "5.2.0", 31 * NS_PER_S, "", (), ACTIVATED_NS)


def frames_of(number: int, lost: Iterable[int] = ()) -> KeptFrames:
    """Every frame of one stream of the plan."""
    return even_frames(sent=FRAMES, lost=lost, stream=number, destinations=ROUTES)


def capture_of(number: int, lost: Iterable[int] = ()) -> Capture:
    """What one stream of the plan saw."""
    return capture_frames(frames_of(number, lost))


CLEAN = Observation(
    phases=(
        PhaseSpan("steady", START_NS, ACTIVATED_NS),
        PhaseSpan("activate", ACTIVATED_NS, ACTIVATED_NS + 1_000_000),
        PhaseSpan("recover", ACTIVATED_NS + 31 * NS_PER_S, STOPPED_NS),
        PhaseSpan("count", STOPPED_NS, STOPPED_NS + 2 * NS_PER_S),
    ),
    captures=tuple(capture_of(number) for number in (1, 2, 3)),
    neighbors=tuple(
        NeighborHistory(
            "egp", port, "bgp", "Established", 9 * NS_PER_S, "Established", "Established", ()
        )
        for port in ("p5", "p6")
    ),
    routes=tuple(
        RouteHistory("egp", direction, ROUTES, ROUTES, ROUTES, ROUTES)
        for direction in ("p5>p6", "p6>p5")
    ),
    duts=(DUT,),
    problem="",
)


def with_loss(lost: Mapping[int, Iterable[int]]) -> Observation:
    """A trial in which these streams lost these frames."""
    captures = tuple(capture_of(number, lost.get(number, ())) for number in (1, 2, 3))
    return replace(CLEAN, captures=captures)
