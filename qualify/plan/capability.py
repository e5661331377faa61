"""What this machine was seen to do with a traffic backend, and what it can therefore prove."""

from collections.abc import Iterator
from dataclasses import dataclass

from qualify.errors import PlanError
from qualify.testbed.case import Case
from qualify.units import NS_PER_S, format_count, format_ms


@dataclass(frozen=True, slots=True)
class Capability:
    """The result of a self-check: tester ports joined to each other, no device between them.

    Attributes:
        backend: the traffic backend.
        measured_on: the day, ``2026-11-25``.
        streams: how many streams were sent at the same time.
        frame_octets: their frame size.
        rate_pps: frames per second of each stream that all arrived, once and in order.
        longest_stall_ns: the longest time by which a frame left later than one interval after
            the frame before it.
        p99_stall_ns: 99 of 100 frames left at most so much late.
    """

    backend: str
    measured_on: str
    streams: int
    frame_octets: int
    rate_pps: int
    longest_stall_ns: int
    p99_stall_ns: int

    @property
    def total_pps(self) -> int:
        """Frames per second over all streams."""
        return self.streams * self.rate_pps

    def smallest_budget_ns(self, rate_pps: int) -> int:
        """Return the smallest budget that a stream of this rate can prove.

        It is the longest time in which no frame may have left: a shorter outage can pass unseen,
        so that even a stream without loss proves no more.

        Source:
            RFC 6201 §3 for the interval: no loss is an outage below it, not one of zero.
        """
        return -(-NS_PER_S // rate_pps) + self.longest_stall_ns


def beyond_seen_rate(case: Case, capability: Capability, *, testbed: str) -> Iterator[PlanError]:
    """Say why this machine cannot send what a case asks for, if it cannot.

    Args:
        case: the question.
        capability: what the self-check saw.
        testbed: the testbed file, for the command that checks again.
    """
    rate_pps = case.stream.offered_load_pps
    streams = 2 * len(case.paths)
    # It was seen in whole frames on each stream; less than one more on each is no difference.
    if streams * rate_pps >= capability.total_pps + capability.streams:
        yield PlanError(
            f"{streams} streams of {format_count(rate_pps)} frames/s are "
            f"{format_count(streams * rate_pps)} frames/s, and the self-check of "
            f"{capability.measured_on} sent {format_count(capability.total_pps)} in all "
            f"without loss with '{capability.backend}' on this machine",
            fix=f"offer at most {capability.total_pps // streams} frames/s on each stream, "
            f"or {_again(testbed)}",
            where=f"{case.file} stream.offered_load_pps",
        )


def below_seen_stall(case: Case, capability: Capability, *, testbed: str) -> Iterator[PlanError]:
    """Say which budgets of a case this machine cannot prove; see beyond_seen_rate."""
    rate_pps = case.stream.offered_load_pps
    interval_ns = -(-NS_PER_S // rate_pps)
    smallest_ns = capability.smallest_budget_ns(rate_pps)
    for path, budget in case.budgets.items():
        # A budget below one interval cannot be proven anywhere; the planner says so itself.
        if interval_ns <= budget.outage_ns < smallest_ns:
            yield PlanError(
                f"an outage budget of {format_ms(budget.outage_ns)} cannot be proven on this "
                f"machine: at {format_count(rate_pps)} frames/s one frame stands for "
                f"{format_ms(interval_ns)}, and in the self-check of {capability.measured_on} "
                f"'{capability.backend}' sent a frame {format_ms(capability.longest_stall_ns)} "
                "late",
                fix=f"allow at least {format_ms(smallest_ns)}, or {_again(testbed)}",
                where=f"{case.file} budgets.{path}.outage_ms",
            )


def _again(testbed: str) -> str:
    return f"check again on a quieter machine: qualify measure --self-check {testbed}"
