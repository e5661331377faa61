"""From what the workers handed over to captures, each with the doubts that can touch it."""

import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from qualify.measure.arrivals import Arrivals
from qualify.measure.capture import Capture, Doubt, DoubtKind, Transmission
from qualify.plan.stream import Stream
from qualify.traffic.ring_messages import PortAccount, SentStream
from qualify.traffic.ring_result import Result
from qualify.units import format_ms

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
    own_send_drops = _without_link_drops_off(sender)
    return Capture(
        stream=stream.number,
        rate_pps=stream.rate_pps,
        destinations=len(stream.destinations),
        transmission=_make_transmission(at, sent, result),
        arrivals=arrivals,
        tester_dropped=_sum_known(
            (
                sent.refused,
                own_send_drops,
                receiver.ring_drops,
                receiver.receive_drops,
                backlog_drops,
            )
        ),
        longest_stall_ns=sent.latest_ns,
        doubts=(
            *_doubt_sending(stream, sent, sender, own_send_drops),
            *_doubt_receiving(stream, receiver, arrivals),
            *_doubt_machine(result, backlog_drops),
        ),
    )


def _make_transmission(at: int, sent: SentStream, result: Result) -> Transmission:
    nothing = np.empty(0, dtype=np.int64)
    return Transmission(
        sent_frames=sent.sent,
        first=result.firsts[at].finish() if at in result.firsts else nothing,
        at_ns=result.times[at].finish() if at in result.times else nothing,
    )


def _doubt_sending(
    stream: Stream, sent: SentStream, port: PortAccount, own_send_drops: int | None
) -> Iterator[Doubt]:
    name = stream.sender
    if sent.refused:
        yield Doubt(
            DoubtKind.REFUSED_SENDS,
            sent.refused,
            None,
            f"tester port {name} refused {sent.refused} frames, which were never offered",
        )
    if own_send_drops:
        yield Doubt(
            DoubtKind.INTERFACE_DROPS,
            own_send_drops,
            None,
            f"tester port {name} dropped {own_send_drops} frames on their way out",
        )
    if port.was_off:
        yield _doubt_port(name)
    if sent.late:
        yield Doubt(
            DoubtKind.STALL,
            None,
            sent.latest_ns,
            f"the sender was late {sent.late} times, by up to {format_ms(sent.latest_ns)}",
        )


def _doubt_receiving(stream: Stream, port: PortAccount, arrivals: Arrivals) -> Iterator[Doubt]:
    name = stream.receiver
    counted = (
        (
            DoubtKind.RING_DROPS,
            port.ring_drops,
            f"frames found the ring of tester port {name} full",
        ),
        (
            DoubtKind.INTERFACE_DROPS,
            port.receive_drops,
            f"frames were dropped by tester port {name} on their way in",
        ),
        (
            DoubtKind.FOREIGN_FRAMES,
            port.foreign,
            f"test frames of another run arrived at tester port {name}",
        ),
        (
            DoubtKind.UNDECIDABLE,
            arrivals.undecidable,
            "frames came so late that nobody remembers whether they were missing",
        ),
    )
    for kind, frames, words in counted:
        if frames:
            yield Doubt(kind, frames, None, f"{frames} {words}")
    if port.was_off:
        yield _doubt_port(name)


def _doubt_port(name: str) -> Doubt:
    return Doubt(
        DoubtKind.LINK_DOWN, None, None, f"tester port {name} itself was switched off for a while"
    )


def _doubt_machine(result: Result, backlog_drops: int | None) -> Iterator[Doubt]:
    if backlog_drops:
        yield Doubt(
            DoubtKind.BACKLOG_DROPS,
            backlog_drops,
            None,
            f"this machine dropped {backlog_drops} frames between its ports and their sockets",
        )
    step_ns = max((worker.clock_step_ns for worker in result.workers), key=abs)
    if step_ns:
        direction = "forward" if step_ns > 0 else "back"
        yield Doubt(
            DoubtKind.CLOCK_STEP,
            None,
            abs(step_ns),
            f"the clock of this machine was set {direction} by {format_ms(abs(step_ns))}",
        )


def _find_backlog_drops(result: Result) -> int | None:
    """Every worker counts those of the whole machine, over nearly the same time."""
    drops = [worker.backlog_drops for worker in result.workers]
    known = [each for each in drops if each is not None]
    return max(known) if len(known) == len(drops) else None


def _without_link_drops_off(port: PortAccount) -> int | None:
    """Drops of a port that are the tester's: not those while its cable's far end was down."""
    if port.send_drops is None:
        return None
    return max(0, port.send_drops - port.without_link_drops)


def _sum_known(counts: Iterable[int | None]) -> int | None:
    """Add up; ``None`` as soon as one of them is not known."""
    total = 0
    for count in counts:
        if count is None:
            return None
        total += count
    return total
