"""From what the workers handed over to captures, each with the doubts that can touch it."""

import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence

from qualify.measure.arrivals import Arrivals
from qualify.measure.capture import Capture, Doubt, DoubtKind
from qualify.plan.stream import Stream
from qualify.traffic.drop_doubts import Drop, doubt_drops
from qualify.traffic.ring_messages import PortAccount, SentStream
from qualify.traffic.ring_result import Result
from qualify.units import format_count, format_ms

_log = logging.getLogger(__name__)


def make_captures(
    streams: Sequence[Stream], positions: Mapping[str, int], result: Result
) -> tuple[Capture, ...]:
    """Make one capture for each stream.

    Args:
        streams: as the backend was opened with.
        positions: of the ports in the result, by name.
        result: of all workers.
    """
    return tuple(_make_capture(at, stream, positions, result) for at, stream in enumerate(streams))


def tell_strays(result: Result) -> None:
    """Log frames that do not count as received."""
    foreign = sum(port.foreign for port in result.ports.values())
    misdelivered = sum(port.misdelivered for port in result.ports.values())
    if foreign:
        _log.warning("%d test frames of another run arrived; ignored", foreign)
    if misdelivered:
        # A switch floods until it has learned, so a few of these are no reason to worry.
        _log.info(
            "%d test frames arrived at a port that they were not sent to; "
            "they do not count as received",
            misdelivered,
        )


def _make_capture(at: int, stream: Stream, positions: Mapping[str, int], result: Result) -> Capture:
    sent, arrivals = result.sent[at], result.arrivals[at]
    sender = result.ports[positions[stream.sender]]
    receiver = result.ports[positions[stream.receiver]]
    backlog_drops = _find_backlog_drops(result)
    drops = {
        Drop.REFUSED: sent.refused,
        Drop.SENDING: sender.send_drops,
        Drop.BUFFER: receiver.ring_drops,
        Drop.RECEIVING: _beyond(receiver.receive_drops, backlog_drops),
        Drop.BACKLOG: backlog_drops,
    }
    return Capture(
        stream=stream.number,
        rate_pps=stream.rate_pps,
        destinations=len(stream.destinations),
        transmission=result.transmissions[at],
        arrivals=arrivals,
        tester_dropped=_sum_known(drops.values()),
        longest_stall_ns=sent.latest_ns,
        doubts=(
            *doubt_drops(drops),
            *_doubt_ports({stream.sender: sender, stream.receiver: receiver}),
            *_doubt_sender(sent),
            *_doubt_clock(result),
            *_doubt_strangers(stream, receiver, arrivals),
        ),
    )


def _doubt_ports(ports: Mapping[str, PortAccount]) -> Iterator[Doubt]:
    for name, port in ports.items():
        if port.was_off:
            words = f"tester port {name} itself was switched off for a while"
            yield Doubt(DoubtKind.LINK_DOWN, None, None, words)


def _doubt_sender(sent: SentStream) -> Iterator[Doubt]:
    if sent.late:
        words = f"the sender was late {sent.late} times, by up to {format_ms(sent.latest_ns)}"
        yield Doubt(DoubtKind.STALL, None, sent.latest_ns, words)


def _doubt_clock(result: Result) -> Iterator[Doubt]:
    step_ns = max((worker.clock_step_ns for worker in result.workers), key=abs)
    if step_ns:
        way = "forward" if step_ns > 0 else "back"
        words = f"the clock of this machine was set {way} by {format_ms(abs(step_ns))}"
        yield Doubt(DoubtKind.CLOCK_STEP, None, abs(step_ns), words)


def _doubt_strangers(stream: Stream, port: PortAccount, arrivals: Arrivals) -> Iterator[Doubt]:
    if port.foreign:
        frames = format_count(port.foreign)
        words = f"{frames} test frames of another run arrived at tester port {stream.receiver}"
        yield Doubt(DoubtKind.FOREIGN_FRAMES, port.foreign, None, words)
    if arrivals.undecidable:
        frames = format_count(arrivals.undecidable)
        words = f"{frames} frames came too late for anybody to know whether they had been missing"
        yield Doubt(DoubtKind.UNDECIDABLE, arrivals.undecidable, None, words)


def _find_backlog_drops(result: Result) -> int | None:
    """Every worker counts those of the whole machine, over nearly the same time."""
    drops = [worker.backlog_drops for worker in result.workers]
    known = [each for each in drops if each is not None]
    return max(known) if len(known) == len(drops) else None


def _beyond(receive_drops: int | None, backlog_drops: int | None) -> int | None:
    """Return what an interface dropped besides the backlog, whose drops it counts as well."""
    if receive_drops is None:
        return None
    return max(0, receive_drops - (backlog_drops or 0))


def _sum_known(counts: Iterable[int | None]) -> int | None:
    """Add up; ``None`` as soon as one of them is not known."""
    total = 0
    for count in counts:
        if count is None:
            return None
        total += count
    return total
