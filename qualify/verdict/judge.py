"""From the figures of a stream and its budget to a verdict.

The true outage lies between two bounds. The stream passes when the upper one is within the budget,
fails when the lower one is over it, and is inconclusive when the budget lies between, or when
the tester cannot vouch for the figure. Nothing is rounded in the device's favour.
"""

from qualify.measure.figures import OutageMethod, StreamFigures
from qualify.units import format_count, format_ms, format_ms_down
from qualify.verdict.doubts import (
    Conceded,
    concede,
    find_clock_step,
    find_drops,
    find_unbounded,
)
from qualify.verdict.verdict import Outcome, Verdict
from qualify.verdict.words import number_of


def judge_outage(figures: StreamFigures, *, budget_ns: int) -> Verdict:
    """Judge the outage of one stream.

    What the tester itself did decides as well: frames that it dropped, a pause in which it sent
    nothing, or loss at the edge of the trial can turn a pass into inconclusive, never into a
    fail. A fail stands only if it stands without all that the tester did.

    Source:
        RFC 6413 §6.3.3 for the bounds, both exclusive; the guard band follows from them.
    """
    if figures.sent == 0:
        return Verdict(Outcome.INCONCLUSIVE, f"{describe_outage(figures)}, so nothing is proven")
    words = f"{describe_outage(figures)}, budget {format_ms_down(budget_ns)}"
    unbounded = find_unbounded(figures)
    if unbounded:
        return Verdict(Outcome.INCONCLUSIVE, f"{words}, {unbounded}")
    conceded = concede(figures, dropped=figures.tester_dropped or 0)
    if _fails(figures, budget_ns, conceded):
        return Verdict(Outcome.FAIL, f"{words}, {conceded}" if conceded else words)
    return Verdict(Outcome.PASS, words).unless(_find_doubt(figures, budget_ns, conceded))


def describe_outage(figures: StreamFigures) -> str:
    """Say what a stream lost and what outage that means: bounds outwards, to a tenth of a ms."""
    if figures.sent == 0:
        return "nothing was sent"
    if figures.lost == 0:
        return f"no loss (outage below {format_ms(figures.outage_high_ns)})"
    low, high = format_ms_down(figures.outage_low_ns), format_ms(figures.outage_high_ns)
    bounds = f"{low.removesuffix(' ms')} to {high}"
    if reaches_the_edge(figures):
        bounds = f"at least {low}"
    return (
        f"lost {format_count(figures.lost)} of {number_of(figures.sent, 'frame')}: "
        f"outage {format_ms(figures.outage_ns)} ({bounds}){_describe_method(figures)}"
    )


def reaches_the_edge(figures: StreamFigures) -> bool:
    """Tell whether the first or the last frame was lost, so that nobody saw the whole outage."""
    if not figures.loss_periods:
        return False
    first, last = figures.loss_periods[0], figures.loss_periods[-1]
    return first.first_lost == 0 or last.first_lost + last.lost_frames == figures.sent


def _describe_method(figures: StreamFigures) -> str:
    """Say that the transmit times speak, and why; empty where lost ÷ rate does.

    Source:
        RFC 6201 §1.3: of two methods the more accurate one; lost ÷ rate needs an even sender.
    """
    low_ns, high_ns = figures.time_low_ns, figures.time_high_ns
    if figures.outage_method is OutageMethod.LOST_BY_RATE or low_ns is None or high_ns is None:
        return ""
    low, high = format_ms_down(low_ns).removesuffix(" ms"), format_ms(high_ns)
    late = (
        ""
        if figures.longest_stall_ns is None
        else f" by up to {format_ms(figures.longest_stall_ns)}"
    )
    return f"; the sender left its pace{late}, so its transmit times speak: {low} to {high}"


def _fails(figures: StreamFigures, budget_ns: int, conceded: Conceded) -> bool:
    if not conceded:
        return figures.received == 0 or (figures.lost > 0 and figures.outage_low_ns >= budget_ns)
    low_ns = _low_without(figures, conceded)
    return low_ns is not None and low_ns >= budget_ns


def _low_without(figures: StreamFigures, conceded: Conceded) -> int | None:
    """The lower bound if the tester dropped its frames where that helps the device most.

    A dropped frame in the middle of a loss period may have passed the device: then the outage
    ended before it and began again after it, and the bound is shorter by two intervals. An
    interval is at most the nominal one and the longest delay of a frame by the sender.
    """
    if figures.lost == 0 or figures.longest_stall_ns is None:
        return None
    nominal_ns = -(-figures.outage_ns // figures.lost)
    interval_ns = nominal_ns + figures.longest_stall_ns
    without_ns = 2 * min(conceded.frames, figures.lost) * interval_ns
    return figures.outage_low_ns - without_ns - conceded.clock_ns


def _find_doubt(figures: StreamFigures, budget_ns: int, conceded: Conceded) -> str:
    """Say why a stream that does not fail cannot pass; empty when it can."""
    too_wide = figures.outage_high_ns > budget_ns
    drops = find_drops(figures, conceded)
    if drops:
        return drops
    if reaches_the_edge(figures):
        return "but the loss reaches the edge of the trial, so nobody saw all of it"
    if figures.lost and too_wide:
        return "which lies between the bounds"
    hidden = _find_hidden_outage(figures, budget_ns)
    if too_wide and not hidden:
        return "which frames so far apart cannot prove"
    return hidden or find_clock_step(figures, conceded, budget_ns=budget_ns)


def _find_hidden_outage(figures: StreamFigures, budget_ns: int) -> str:
    """Say whether an outage that breaks the budget could have passed while nothing was sent.

    With no loss the pause stands alone. With loss it comes on top of what was seen, because one
    more outage could have passed in it.
    """
    stall_ns = figures.longest_stall_ns
    if stall_ns is None:
        return "but nobody knows whether the sender paused"
    seen_ns = figures.outage_high_ns if figures.lost else 0
    if seen_ns + stall_ns <= budget_ns:
        return ""
    return f"but the sender paused for {format_ms(stall_ns)}, which can hide an outage"
