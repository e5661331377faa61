"""The worker that sends: every stream on its schedule, every frame with its real time."""

import gc
import os
import time
from array import array
from collections.abc import Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Protocol

import numpy as np

from qualify.errors import TrafficError
from qualify.frames import Templates, number_frames, stamp_frame
from qualify.frames.layout import ETHERNET_OCTETS, TAG_OCTETS
from qualify.traffic.pacing import Pacer
from qualify.traffic.scapy_channel import Channel
from qualify.traffic.scapy_messages import (
    Array,
    Collect,
    Done,
    SendJob,
    SendProgress,
    Sent,
    Start,
    Stop,
    read_layouts,
)
from qualify.traffic.scapy_sockets import SendingPort
from qualify.units import NS_PER_MS, NS_PER_S

REPORT_EVERY_NS = 100 * NS_PER_MS
HEAD_START_NS = 20 * NS_PER_MS
NUMBERED_AHEAD = 128
# Frames sent before the owner is listened to again, when all of them are late.
BURST = 32
# A cable whose far end goes down refuses frames a moment before the link is seen to be lost.
LINK_DOUBT_S = 0.001


class Port(Protocol):
    """What a stream needs of its port; see SendingPort."""

    def send(self, frame: bytes) -> None:
        """Hand a frame to the port, or raise OSError."""
        ...

    def link_is_lost(self) -> bool:
        """Tell whether the far end of the cable is down."""
        ...


class SendingStream:
    """One stream on its port: which number is next, and when every other one left.

    A frame that the port refuses, for want of room, does not use up its number: it was never
    offered to the device, so the next turn of the stream sends the same number.

    A frame that finds no link *does* use up its number: the far end of the cable, the device, is
    down, and the frame is lost to the device's outage. The kernel itself takes such frames and
    discards them; one that it hands back in the first moment is treated alike.
    """

    def __init__(self, templates: Templates, port: Port) -> None:
        self._templates = templates
        self._port = port
        self._ahead = number_frames(templates, first=0, count=NUMBERED_AHEAD)
        self.sent_ns = array("q")
        self.refused = 0
        self.without_link = 0
        self.latest_ns = 0

    def send(self, *, due_ns: int) -> None:
        """Send the next number, due at that time of the monotonic clock."""
        number = len(self.sent_ns)
        row = number % NUMBERED_AHEAD
        head = bytearray(self._ahead[row].tobytes())
        linked = not self._port.link_is_lost()
        self.latest_ns = max(self.latest_ns, time.monotonic_ns() - due_ns)
        now_ns = time.time_ns()
        stamp_frame(head, now_ns, self._templates.layout)
        try:
            self._port.send(bytes(head) + self._templates.fill_behind(number).tobytes())
        except OSError:
            if linked and not self._lost_link_just_now():
                self.refused += 1
                return
            linked = False
        self.sent_ns.append(now_ns)
        self.without_link += not linked
        if row == NUMBERED_AHEAD - 1:
            self._ahead = number_frames(self._templates, first=number + 1, count=NUMBERED_AHEAD)

    def _lost_link_just_now(self) -> bool:
        if not self._port.link_is_lost():
            time.sleep(LINK_DOUBT_S)
        return self._port.link_is_lost()


def run_sender(channel: Channel) -> None:
    """Carry out one SendJob, until the owner closes the pipe.

    Raises:
        TrafficError: a port cannot be used, or carries no frames of that size.
    """
    job, arrays = channel.expect(SendJob)
    templates = _read_templates(job, arrays)
    with ExitStack() as stack:
        ports = _open_ports(job, stack)
        _check_sizes(job, ports, templates)
        streams = [
            SendingStream(each, ports[port])
            for each, port in zip(templates, job.ports, strict=True)
        ]
        _favour_this_process()
        channel.tell(Done())
        channel.expect(Start)
        channel.tell(Done())
        _send_until_stopped(channel, streams, job.rates_pps)
        channel.tell(SendProgress(_sent(streams)))
        channel.tell(Done())
        channel.expect(Collect)
        channel.tell(_account(job, streams), _times(streams))
        channel.await_end()


def _open_ports(job: SendJob, stack: ExitStack) -> list[SendingPort]:
    ports = []
    for interface, namespace in zip(job.interfaces, job.namespaces, strict=True):
        port = SendingPort(interface, None if namespace is None else Path(namespace))
        stack.callback(port.close)
        ports.append(port)
    return ports


def _read_templates(job: SendJob, arrays: Sequence[Array]) -> list[Templates]:
    return [
        Templates(layout, sizes, heads.astype(np.uint8), fill.astype(np.uint8))
        for layout, sizes, heads, fill in zip(
            read_layouts(job), job.sizes, arrays[::2], arrays[1::2], strict=True
        )
    ]


def _check_sizes(job: SendJob, ports: list[SendingPort], templates: Sequence[Templates]) -> None:
    for each, port in zip(templates, job.ports, strict=True):
        octets = _mtu_needed(each)
        if octets > ports[port].mtu:
            raise TrafficError(
                f"port {job.interfaces[port]} carries IP packets of at most {ports[port].mtu} "
                f"octets, the stream sends {octets}",
                fix="choose smaller frames, or raise the MTU on all ports of the path",
            )


def _mtu_needed(templates: Templates) -> int:
    """Return what counts against the MTU: the kernel leaves room for one tag, but not for two."""
    largest = max(map(templates.built_octets, range(len(templates.sizes))))
    free_octets = TAG_OCTETS if len(templates.layout.vlans) == 1 else 0
    return largest - ETHERNET_OCTETS - free_octets


def _favour_this_process() -> None:
    """Let nothing of our own, and little of others, delay a frame."""
    gc.collect()
    gc.freeze()
    gc.disable()
    with suppress(PermissionError):
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(1))


def _send_until_stopped(
    channel: Channel, streams: list[SendingStream], rates_pps: Sequence[int]
) -> None:
    pacer = Pacer(rates_pps, start_ns=time.monotonic_ns() + HEAD_START_NS)
    report_ns = time.monotonic_ns()
    while not channel.has_message(_wait_s(min(pacer.next_due_ns, report_ns))):
        for _ in range(BURST):
            now_ns = time.monotonic_ns()
            if pacer.next_due_ns > now_ns:
                break
            slot = pacer.take(now_ns)
            streams[slot.stream].send(due_ns=slot.due_ns)
        if time.monotonic_ns() >= report_ns:
            channel.tell(SendProgress(_sent(streams)))
            report_ns += REPORT_EVERY_NS
    channel.expect(Stop)


def _wait_s(until_ns: int) -> float:
    return max(0, until_ns - time.monotonic_ns()) / NS_PER_S


def _sent(streams: list[SendingStream]) -> tuple[int, ...]:
    return tuple(len(stream.sent_ns) for stream in streams)


def _account(job: SendJob, streams: list[SendingStream]) -> Sent:
    without_link = [0] * len(job.interfaces)
    for port, stream in zip(job.ports, streams, strict=True):
        without_link[port] += stream.without_link
    return Sent(
        refused=tuple(stream.refused for stream in streams),
        latest_ns=tuple(stream.latest_ns for stream in streams),
        without_link=tuple(without_link),
    )


def _times(streams: list[SendingStream]) -> list[Array]:
    return [np.array(stream.sent_ns, dtype=np.int64) for stream in streams]
