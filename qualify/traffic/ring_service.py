"""What a worker does from start to collect: send what is due, read what has arrived, watch."""

import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack

from qualify.errors import TrafficError
from qualify.traffic.ring_account import describe_received, describe_sent, read_resident_octets
from qualify.traffic.ring_channel import Channel
from qualify.traffic.ring_messages import (
    Collect,
    Done,
    Job,
    Message,
    Progress,
    SentBatches,
    Stop,
    WorkerAccount,
)
from qualify.traffic.ring_pipe import Array
from qualify.traffic.ring_port import ServedPort
from qualify.traffic.ring_priority import settle
from qualify.traffic.ring_reader import BLOCK_TIMEOUT_MS
from qualify.traffic.ring_sender import open_senders
from qualify.traffic.ring_sleeper import Sleeper
from qualify.traffic.ring_watch import BacklogWatch, ClockWatch
from qualify.units import NS_PER_MS, NS_PER_S

# Everything that comes due within a tick is sent in one call. A loop that never slept would be
# stopped by the kernel for a twentieth of every second.
TICK_NS = 50_000
# A sender that is further behind than this works almost without a rest: one part in LEAST_REST.
BEHIND_NS = NS_PER_MS
LEAST_REST = 20
LONGEST_REST_NS = 100_000
LOOK_EVERY_NS = 2 * NS_PER_MS
REPORT_EVERY_NS = 100 * NS_PER_MS
# Rings hand over what they hold after a while; silence for longer means: all is read.
SILENCE_NS = 3 * BLOCK_TIMEOUT_MS * NS_PER_MS
DRAIN_TIMEOUT_NS = 20 * NS_PER_S


class Service:
    """The ports and streams of one worker.

    Raises:
        TrafficError: a port cannot be used, or carries no frames of that size.
    """

    def __init__(
        self, job: Job, arrays: Sequence[Array], channel: Channel, stack: ExitStack
    ) -> None:
        self._job = job
        self._channel = channel
        self._ports = {
            port.position: ServedPort(
                port,
                [each for each in job.receivers if each.port == port.position],
                run_id=job.run_id,
                ring_octets=job.ring_octets,
                stack=stack,
            )
            for port in job.ports
        }
        self._senders = open_senders(job, arrays, self._ports, stack)
        self._analysers = [
            self._ports[each.port].analysers[each.position] for each in job.receivers
        ]
        self._sending = False
        self._sleeper = Sleeper(naps=job.naps)
        self._cpu_before_ns = self._receive_cpu_ns = 0
        self._has_priority = settle(job.processor)
        self._clock, self._backlog = ClockWatch(), BacklogWatch()

    def start(self, at_ns: int) -> None:
        """Begin to count drops; send from that time of CLOCK_MONOTONIC on."""
        for port in self._ports.values():
            port.begin()
        self._clock, self._backlog = ClockWatch(), BacklogWatch()
        self._cpu_before_ns = time.process_time_ns()
        for job, sender in zip(self._job.senders, self._senders, strict=True):
            sender.schedule.start(at_ns + job.phase_ns)
        self._sending = True

    def run(self) -> None:
        """Work until the owner wants the result.

        Raises:
            OwnerGoneError: the owner is gone; nothing is sent any more.
        """
        look_at_ns = report_at_ns = time.monotonic_ns()
        while True:
            now_ns = time.monotonic_ns()
            wake_ns = self._send_due(now_ns) if self._sending else look_at_ns
            if now_ns >= look_at_ns:
                look_at_ns = now_ns if self._read() else now_ns + LOOK_EVERY_NS
                if self._channel.has_message() and self._obey():
                    return
            if now_ns >= report_at_ns:
                self._report()
                report_at_ns = now_ns + REPORT_EVERY_NS
            breath_ns = self._breath_ns(time.monotonic_ns() - now_ns)
            self._sleeper.sleep_until(
                max(min(wake_ns, look_at_ns), now_ns + TICK_NS, now_ns + breath_ns)
            )

    def drain(self) -> None:
        """Read until nothing comes any more: what is left would count as lost.

        Raises:
            TrafficError: there is no end.
        """
        began_ns = quiet_since_ns = time.monotonic_ns()
        while (now_ns := time.monotonic_ns()) < quiet_since_ns + SILENCE_NS:
            arrived = self._arrived()
            if not self._read():
                time.sleep(LOOK_EVERY_NS / NS_PER_S)
            # Those of another run may go on for ever.
            if self._arrived() > arrived:
                quiet_since_ns = now_ns
            if now_ns > began_ns + DRAIN_TIMEOUT_NS:
                raise TrafficError(
                    "frames of this run go on arriving although nothing is sent any more",
                    fix="look for a loop behind the tester ports, and run again",
                )

    def pieces(self) -> Iterator[tuple[Message, Sequence[Array]]]:
        """Yield the result: streams, ports, and at last the worker itself."""
        for job, sender in zip(self._job.senders, self._senders, strict=True):
            for batches in sender.log.read():
                yield SentBatches(), batches
            yield describe_sent(job.position, sender), ()
        for received, analyser in zip(self._job.receivers, self._analysers, strict=True):
            yield describe_received(received.position, analyser.finish())
        for port in self._ports.values():
            yield port.account(), ()
        self._clock.look()
        yield (
            WorkerAccount(
                backlog_drops=self._backlog.drops(),
                clock_step_ns=self._clock.step_ns,
                has_priority=self._has_priority,
                cpu_ns=time.process_time_ns() - self._cpu_before_ns,
                receive_cpu_ns=self._receive_cpu_ns,
                resident_octets=read_resident_octets(),
            ),
            (),
        )

    def _breath_ns(self, worked_ns: int) -> int:
        """Return how long a round must last that had so much to do.

        A round rests half as long as it worked, up to LONGEST_REST_NS, while frames leave on
        time: in the virtual lab the device lives on the same processors. A sender that falls
        behind rests as little as the kernel allows; where nobody else has to work, not at all.
        """
        behind_ns = time.monotonic_ns() - self._oldest_due_ns() if self._sending else 0
        if behind_ns > BEHIND_NS:
            return 0 if self._job.naps else worked_ns + worked_ns // LEAST_REST
        return worked_ns + min(worked_ns // 2, LONGEST_REST_NS)

    def _oldest_due_ns(self) -> int:
        return min(
            (sender.schedule.next_due_ns for sender in self._senders),
            default=time.monotonic_ns(),
        )

    def _send_due(self, now_ns: int) -> int:
        """Send what is due, and return when the next frame is."""
        wake_ns = now_ns + REPORT_EVERY_NS
        for sender in self._senders:
            if sender.schedule.next_due_ns <= now_ns:
                sender.send_due(now_ns)
            wake_ns = min(wake_ns, sender.schedule.next_due_ns)
        return wake_ns

    def _read(self) -> bool:
        """Analyse a block of each ring at most; tell whether there was one."""
        waiting = [port for port in self._ports.values() if port.has_block()]
        if not waiting:
            return False
        began_ns = time.thread_time_ns()
        for port in waiting:
            port.read()
        self._receive_cpu_ns += time.thread_time_ns() - began_ns
        return True

    def _arrived(self) -> int:
        return sum(port.arrived for port in self._ports.values())

    def _obey(self) -> bool:
        """Carry out a message; tell whether it ends the work."""
        message, _ = self._channel.listen()
        if isinstance(message, Stop):
            self._sending = False
            self._report()
            self._channel.tell(Done())
            return False
        if isinstance(message, Collect):
            return True
        raise TrafficError(
            f"a traffic worker was told {type(message).__name__} while frames are sent",
            fix="call open, start, stop, collect and close in this order",
        )

    def _report(self) -> None:
        """Tell the running counts, and look after everything that is watched."""
        counts = [analyser.counts for analyser in self._analysers]
        self._channel.tell(
            Progress(
                sent=tuple(sender.sent for sender in self._senders),
                received=tuple(each.received + each.duplicate for each in counts),
                impaired_ns=tuple(each.impaired_ns for each in counts),
                last_received_ns=tuple(each.last_received_ns for each in counts),
            )
        )
        for port in self._ports.values():
            port.look()
        self._clock.look()
