"""Figures of a record as people read them: rounded against the device, and never 0 for unknown."""

from collections import Counter
from datetime import datetime

from qualify.measure.figures import OutageMethod
from qualify.record.model import DecisionWord, PathRecord, Record, StreamRecord
from qualify.testbed.frame_sizes import name_sizes
from qualify.units import NS_PER_MS, format_count, format_ms, format_ms_down, format_s

UNKNOWN = "—"
INTERRUPTED = "interrupted before the last trial was over"
_HEADERS = {"ethernet": "Ethernet", "ipv4": "IPv4", "ipv6": "IPv6"}
_KINDS = {"l2": "Switching", "igp": "Interior routing", "egp": "Exterior routing"}


def decision_of(record: Record) -> tuple[DecisionWord, str]:
    """Return the decision and its reason; a run that never finished cannot have qualified."""
    if record.finished is None and record.verdict is DecisionWord.QUALIFIED:
        return DecisionWord.NOT_PROVEN, INTERRUPTED
    return record.verdict, record.reason


def decision_sentence(record: Record) -> str:
    """Say in one sentence whether the release may go into service."""
    word, _ = decision_of(record)
    fit = "not proven fit" if word is DecisionWord.NOT_PROVEN else word.value
    return f"{record.release} is {fit} for an upgrade in service from {record.from_release}."


def outage_words(stream: StreamRecord) -> str:
    """Say the outage with its bounds: ``48.3 ms (48.2 to 48.4)``, ``no loss (< 5.0 ms)``.

    Source:
        RFC 6201 §3: a reset time of zero is reported as "no loss".
    """
    if stream.sent == 0:
        return "nothing sent"
    if stream.lost == 0 and stream.duplicate is None:
        return f"not known (< {format_ms(stream.outage_high_ns)})"
    if stream.lost == 0:
        return f"no loss (< {format_ms(stream.outage_high_ns)})"
    if stream.reaches_edge:
        return bounds_words(stream)
    return f"{format_ms(stream.outage_ns)} ({bounds_words(stream)})"


def bounds_words(stream: StreamRecord) -> str:
    """Say between which two times the true outage lies, both exclusive.

    Loss at the edge of the trial has no upper bound: nobody saw where it began or ended.
    """
    if stream.reaches_edge:
        return f"over {format_ms_down(stream.outage_low_ns)}"
    low = format_ms_down(stream.outage_low_ns).removesuffix(" ms")
    high = format_ms(stream.outage_high_ns).removesuffix(" ms")
    return f"{low} to {high}"


def budget_words(budget_ns: int | None) -> str:
    """Say a budget exactly: to round it either way would move the verdict."""
    if budget_ns is None:
        return "none"
    whole, rest = divmod(budget_ns, NS_PER_MS)
    decimals = f"{rest:06d}".rstrip("0") or "0"
    return f"{format_count(whole)}.{decimals} ms"


def share_words(stream: StreamRecord) -> str:
    """Say how much of the budget the outage may have used up, by its upper bound."""
    budget_ns = stream.budget_ns
    if stream.sent == 0:
        return "not measured"
    if not budget_ns:
        return "no budget set" if budget_ns is None else "the budget is nothing"
    if stream.reaches_edge:
        return "seen in part only"
    relation = "below" if stream.lost == 0 else "up to"
    return f"{relation} {_times_words(stream.outage_high_ns, budget_ns)}"


def _times_words(high_ns: int, budget_ns: int) -> str:
    if high_ns <= 2 * budget_ns:
        return f"{-(-high_ns * 100 // budget_ns)} % of the budget"
    tenths = -(-high_ns * 10 // budget_ns)
    return f"{format_count(tenths // 10)}.{tenths % 10} times the budget"


def doubts_words(stream: StreamRecord) -> str:
    """Say what the tester itself did to a stream, and whether transmit times speak for its outage.

    Empty when it did nothing that could touch the stream.
    """
    said = [doubt.words for doubt in stream.doubts]
    low_ns, high_ns = stream.time_low_ns, stream.time_high_ns
    by_time = stream.outage_method == OutageMethod.TRANSMIT_TIMES
    if by_time and low_ns is not None and high_ns is not None:
        low, high = format_ms_down(low_ns).removesuffix(" ms"), format_ms(high_ns)
        said.append(f"the transmit times speak, not lost ÷ rate: {low} to {high}")
    return f"Tester: {'; '.join(said)}." if said else ""


def count_words(number: int | None) -> str:
    """Write a count, or a dash when it is not known."""
    return UNKNOWN if number is None else format_count(number)


def ms_words(duration_ns: int | None) -> str:
    """Write milliseconds rounded up, or a dash when they are not known."""
    return UNKNOWN if duration_ns is None else format_ms(duration_ns)


def seconds_words(duration_ns: int | None) -> str:
    """Write seconds rounded up, or a dash when they are not known."""
    return UNKNOWN if duration_ns is None else format_s(duration_ns)


def rate_words(rate_pps: float | None) -> str:
    """Write a rate with one decimal, rounded down, or a dash when it is not known."""
    if rate_pps is None:
        return UNKNOWN
    tenths = int(rate_pps * 10)
    return f"{format_count(tenths // 10)}.{tenths % 10}"


def moment_words(moment: datetime | None) -> str:
    """Write a time to the minute, in UTC."""
    return UNKNOWN if moment is None else moment.strftime("%Y-%m-%d %H:%M UTC")


def sizes_words(frame_octets: int, frame_sizes: tuple[int, ...]) -> str:
    """Write one size, or a mix with its name and the share of each size in it.

    Source:
        RFC 6985 §4: ``IMIX - aaafg`` is the name of 64, 64, 64, 1280 and 1518 octets.
    """
    if len(frame_sizes) <= 1:
        return f"{format_count(frame_octets)} octets"
    shares = ", ".join(
        f"{format_count(octets)} ({count} in {len(frame_sizes)})"
        for octets, count in Counter(frame_sizes).items()
    )
    name = name_sizes(frame_sizes)
    return f"{name}: {shares} octets" if name else f"{shares} octets"


def frames_words(path: PathRecord) -> str:
    """Say what the test frames of a path look like: ``IPv6 frames with VLAN tags 200 and 10``."""
    kind = _HEADERS.get(path.headers or "", path.headers)
    tags = " and ".join(map(str, path.vlans))
    with_tags = f" with VLAN {'tag' if len(path.vlans) == 1 else 'tags'} {tags}"
    return f"{kind} frames{with_tags if tags else ''}"


def direction_words(direction: str) -> str:
    """Write ``p5>p6`` with an arrow."""
    return direction.replace(">", " → ")


def kind_words(kind: str, protocols: tuple[str, ...]) -> str:
    """Name what carries a path: ``Exterior routing (EGP, BGP)``."""
    short = ", ".join((kind, *protocols)).upper()
    return f"{_KINDS[kind]} ({short})" if kind in _KINDS else kind
