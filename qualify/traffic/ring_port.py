"""One port of a worker, with everything that arrives there and everything that can get lost."""

from collections.abc import Sequence
from contextlib import ExitStack
from itertools import groupby
from pathlib import Path

from qualify.frames import Layout
from qualify.frames.layout import ETHER_TYPES, TAG_TYPE
from qualify.measure.arrivals import ArrivalAnalyser
from qualify.testbed.testbed import Headers
from qualify.traffic.ring_link import Carrier
from qualify.traffic.ring_messages import PortAccount, PortJob, ReceiveJob
from qualify.traffic.ring_ports import SendingPort, handle_type
from qualify.traffic.ring_reader import ReceiveRing
from qualify.traffic.ring_reception import PortReception
from qualify.traffic.ring_watch import DropWatch


class ServedPort:
    """A port, opened for sending and for the streams that end there.

    Attributes:
        sender: where frames leave.
        analysers: of the streams that end here, by their position.
    """

    def __init__(
        self,
        job: PortJob,
        receivers: Sequence[ReceiveJob],
        *,
        run_id: int,
        ring_octets: int,
        stack: ExitStack,
    ) -> None:
        self._position = job.position
        namespace = None if job.namespace is None else Path(job.namespace)
        carrier = Carrier(job.interface, namespace)
        stack.callback(carrier.close)
        self.sender = SendingPort(job.interface, namespace, mac=job.mac, carrier=carrier)
        stack.callback(self.sender.close)
        self._drops = DropWatch(job.interface, namespace, sender=self.sender)
        stack.callback(self._drops.close)
        self.analysers = {each.position: ArrivalAnalyser() for each in receivers}
        self._reception = PortReception(
            {each.number: self.analysers[each.position] for each in receivers}, run_id=run_id
        )
        self._rings = [
            ReceiveRing(job.interface, namespace, layouts=layouts, octets=ring_octets)
            for layouts in group_layouts(receivers)
        ]
        for ring in self._rings:
            stack.callback(ring.close)
        for ether_type in sorted(_tagged_types(receivers)):
            stack.callback(handle_type(job.interface, namespace, ether_type).close)

    def begin(self) -> None:
        """Begin to count drops."""
        self._drops.reset()
        self._reception.foreign = 0
        for ring in self._rings:
            ring.forget_drops()

    def read(self) -> None:
        """Analyse a block of each ring that has one."""
        for ring in self._rings:
            if ring.has_block():
                self._reception.take(ring.take_block())

    def has_block(self) -> bool:
        """Tell whether anything can be read."""
        return any(ring.has_block() for ring in self._rings)

    @property
    def arrived(self) -> int:
        """Frames of this run that arrived until now, wherever they were sent to."""
        return self._reception.arrived

    def look(self) -> None:
        """Look after the drop counters of the interface."""
        self._drops.look()

    def account(self) -> PortAccount:
        """Say what got lost since ``begin``."""
        self._drops.look()
        return PortAccount(
            position=self._position,
            ring_drops=sum(ring.count_drops() for ring in self._rings),
            receive_drops=self._drops.receive_drops,
            send_drops=self._drops.send_drops,
            foreign=self._reception.foreign,
            misdelivered=self._reception.misdelivered,
            was_off=self._drops.was_off,
        )


def layout_of(job: ReceiveJob) -> Layout:
    """Return the layout in which a stream is sent."""
    return Layout(Headers(job.headers), job.vlans)


def group_layouts(receivers: Sequence[ReceiveJob]) -> list[tuple[Layout, ...]]:
    """Group the layouts that arrive at a port by where their payload is: one ring for each."""
    layouts = sorted({layout_of(each) for each in receivers}, key=_received_payload_at)
    return [tuple(group) for _, group in groupby(layouts, key=_received_payload_at)]


def _tagged_types(receivers: Sequence[ReceiveJob]) -> set[int]:
    """Return the EtherTypes that are seen behind the tag that the kernel takes off."""
    tagged = [layout for layout in map(layout_of, receivers) if layout.vlans]
    return {TAG_TYPE if layout.received.vlans else ETHER_TYPES[layout.headers] for layout in tagged}


def _received_payload_at(layout: Layout) -> int:
    return layout.received.payload_at
