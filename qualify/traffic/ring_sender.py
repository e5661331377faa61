"""One stream on its port: what is due is stamped and handed over in one call."""

import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from typing import Protocol

from qualify.errors import TrafficError
from qualify.frames import Layout, Templates
from qualify.frames.layout import ETHERNET_OCTETS, FCS_OCTETS, TAG_OCTETS
from qualify.testbed.testbed import Headers
from qualify.traffic.ring_log import BatchLog
from qualify.traffic.ring_messages import Job
from qualify.traffic.ring_pipe import Array
from qualify.traffic.ring_port import ServedPort
from qualify.traffic.ring_ports import Refusal, SendingPort
from qualify.traffic.ring_schedule import Schedule
from qualify.traffic.ring_slots import LARGEST_BATCH, FrameSlots

# So many frames share one transmit time in the log: they leave within some ten microseconds.
_LOGGED_TOGETHER = 8
# How long a frame takes to leave is followed slowly, and rather underestimated.
_SLOWNESS = 8
_TOLERANCE = 4
_FASTEST_STEP_NS = 100
# A call in which a frame takes longer was interrupted: that says nothing of the next call.
_SLOWEST_STEP_NS = 10_000
# So far can the estimate for the last frame of a call lie in the future, and not further.
_LARGEST_OVERSHOOT_NS = LARGEST_BATCH * _SLOWEST_STEP_NS


class Port(Protocol):
    """What a stream needs of its port; see SendingPort."""

    def send(self, messages: int, count: int) -> int | Refusal:
        """Hand over a batch."""
        ...


class SendingStream:
    """Sends the numbers of one stream and keeps when every one of them left.

    A frame that the port refuses does not use up its number: it was never offered to the device,
    so the next turn sends the same number. A frame that finds no link *does* use up its number:
    the device is down, and the frame is lost to its outage. The kernel itself takes such frames
    and discards them; the few that it hands back in the first moment are treated alike.

    All frames of a call carry estimated transmit times, one step after the other; log and frames
    agree.
    """

    def __init__(self, templates: Templates, port: Port, *, rate_pps: int) -> None:
        self.schedule = Schedule(rate_pps)
        self.log = BatchLog()
        self.sent = 0
        self.refused = 0
        self._slots = FrameSlots(templates)
        self._port = port
        self._step_ns = _FASTEST_STEP_NS
        self._latest_stamp_ns = 0

    def send_due(self, now_ns: int) -> None:
        """Send what is due, a batch at most; ``now_ns`` is CLOCK_MONOTONIC."""
        due = self.schedule.due(now_ns)
        if not due:
            return
        began_ns = self._stamp_ns()
        count = self._slots.stamp(
            self.sent, min(due, LARGEST_BATCH), sent_ns=began_ns, step_ns=self._step_ns
        )
        taken = self._port.send(self._slots.address(self.sent), count)
        if taken is Refusal.UNKNOWN:
            return
        if taken is Refusal.OWN:
            self.refused += count
            self.schedule.take(count)
            return
        if taken is Refusal.WITHOUT_LINK:
            taken = count
        self._note(taken, began_ns)
        self.schedule.take(taken)

    def _stamp_ns(self) -> int:
        """Return the time, not before the last stamp: that one was an estimate."""
        now_ns = time.time_ns()
        # A larger difference is a step of the clock, which must stay visible.
        if 0 < self._latest_stamp_ns - now_ns <= _LARGEST_OVERSHOOT_NS:
            return self._latest_stamp_ns
        return now_ns

    def _note(self, taken: int, began_ns: int) -> None:
        step_ns = self._step_ns
        if taken <= _LOGGED_TOGETHER:
            self.log.note(self.sent, began_ns)
        else:
            self.log.note_evenly(
                self.sent, taken, sent_ns=began_ns, step_ns=step_ns, each=_LOGGED_TOGETHER
            )
            self._follow((time.time_ns() - began_ns) // (taken + 1))
        self.sent += taken
        self._latest_stamp_ns = began_ns + taken * step_ns

    def _follow(self, took_ns: int) -> None:
        """Bring the step up to date when a frame takes longer or shorter than it says."""
        step_ns = self._step_ns
        took_ns = min(took_ns, _SLOWEST_STEP_NS)
        if took_ns < step_ns or took_ns - step_ns > step_ns // _TOLERANCE:
            self._step_ns = max(
                _FASTEST_STEP_NS, min(step_ns + (took_ns - step_ns) // _SLOWNESS + 1, took_ns)
            )


def open_senders(
    job: Job, arrays: Sequence[Array], ports: Mapping[int, ServedPort], stack: ExitStack
) -> list[SendingStream]:
    """Prepare the streams that a worker sends.

    Raises:
        TrafficError: a port carries no frames of that size.
    """
    senders = []
    for stream, heads, fill in zip(job.senders, arrays[::2], arrays[1::2], strict=True):
        layout = Layout(Headers(stream.headers), stream.vlans)
        templates = Templates(layout, stream.sizes, heads, fill)
        port = ports[stream.port].sender
        check_size(templates, port)
        sender = SendingStream(templates, port, rate_pps=stream.rate_pps)
        stack.callback(sender.log.close)
        senders.append(sender)
    return senders


def check_size(templates: Templates, port: SendingPort) -> None:
    """Check that a port carries the largest frame of a stream.

    Raises:
        TrafficError: it does not.
    """
    # The kernel leaves room for one tag, but not for two.
    free_octets = TAG_OCTETS if len(templates.layout.vlans) == 1 else 0
    largest = max(templates.sizes) - FCS_OCTETS - ETHERNET_OCTETS - free_octets
    if largest > port.mtu:
        raise TrafficError(
            f"port {port.interface} carries IP packets of at most {port.mtu} octets, "
            f"the stream sends {largest}",
            fix="choose smaller frames, or raise the MTU on all ports of the path",
        )
