"""From the totals of a stream and its budget to a verdict.

Totals prove less than frames: they do not say when something was lost, so nobody knows whether a
loss reaches the edge of the trial, and a stream with any loss does not pass. One without loss
passes when the generator also vouches for what can hide a loss: further copies of frames, frames
that the generator dropped itself, and pauses of the sender.
"""

from qualify.measure.figures import StreamFigures
from qualify.measure.totals import Totals
from qualify.units import NS_PER_S, format_count, format_ms, format_ms_down, format_s
from qualify.verdict.verdict import Outcome, Verdict
from qualify.verdict.words import number_of

# A generator is started and stopped by other hands than the bench.
MOST_SHORTFALL_NS = NS_PER_S


def judge_totals(figures: StreamFigures, *, budget_ns: int) -> Verdict:
    """Judge the outage of a stream of which only totals are known."""
    if figures.sent == 0:
        return Verdict(Outcome.INCONCLUSIVE, f"{describe_totals(figures)}, so nothing is proven")
    words = f"{describe_totals(figures)}, budget {format_ms_down(budget_ns)}"
    dropped = figures.tester_dropped
    if dropped is None:
        words += ", but nobody knows how many frames the generator dropped itself"
        return Verdict(Outcome.INCONCLUSIVE, words)
    if _fails(figures, budget_ns, dropped):
        return Verdict(Outcome.FAIL, words)
    return Verdict(Outcome.PASS, words).unless(_find_doubt(figures, budget_ns))


def describe_totals(figures: StreamFigures) -> str:
    """Say what a stream lost, or at least lost, and what outage that means."""
    if figures.sent == 0:
        return "nothing was sent"
    low, high = format_ms_down(figures.outage_low_ns), format_ms(figures.outage_high_ns)
    of = f"of {number_of(figures.sent, 'frame')}"
    if figures.lost == 0 and figures.duplicate is not None:
        return f"no loss {of} (outage below {high})"
    least = "at least " if figures.duplicate is None else ""
    return (
        f"lost {least}{format_count(figures.lost)} {of}: outage {least}"
        f"{format_ms(figures.outage_ns)} ({low.removesuffix(' ms')} to {high}, by totals only)"
    )


def find_shortfall(totals: Totals, *, rate_pps: int) -> str:
    """Say that the frames do not cover the whole trial; empty when they do.

    Source:
        RFC 2285 §3.5.2: frames that were not sent are not offered, so they show no outage.
    """
    covered_ns = totals.sent * NS_PER_S // rate_pps
    if covered_ns + MOST_SHORTFALL_NS >= totals.running_ns:
        return ""
    return (
        f"but the frames that were sent cover {format_s(covered_ns)} at most, and the trial ran "
        f"for {format_s(totals.running_ns)}"
    )


def _fails(figures: StreamFigures, budget_ns: int, dropped: int) -> bool:
    """Tell whether the budget is broken even if every frame that was dropped had passed."""
    if figures.received == 0 and not dropped:
        return True
    if figures.lost == 0 or figures.longest_stall_ns is None:
        return False
    interval_ns = -(-figures.outage_ns // figures.lost) + figures.longest_stall_ns
    spared_ns = 2 * min(dropped, figures.lost) * interval_ns
    return figures.outage_low_ns - spared_ns >= budget_ns


def _find_doubt(figures: StreamFigures, budget_ns: int) -> str:
    """Say why a stream that does not fail cannot pass; empty when it can."""
    if figures.duplicate is None:
        return "but nobody tells further copies apart, and each of them can hide a lost frame"
    if figures.lost:
        return "but totals do not say whether the loss reaches the edge of the trial"
    if figures.longest_stall_ns is None:
        return "but nobody knows whether the sender paused"
    if figures.outage_high_ns > budget_ns:
        return "which frames so far apart cannot prove"
    return ""
