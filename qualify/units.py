"""Times and rates as people read them; an outage is rounded up, never down."""

NS_PER_US = 1_000
NS_PER_MS = 1_000_000
NS_PER_S = 1_000_000_000


def format_ms(duration_ns: int) -> str:
    """Write a duration in milliseconds with one decimal, rounded up.

    Source:
        Rounded against the device: 48 300 001 ns reads "48.4 ms".
    """
    tenths = -(-duration_ns * 10 // NS_PER_MS)
    return f"{tenths // 10:,}".replace(",", " ") + f".{tenths % 10} ms"


def format_ms_down(duration_ns: int) -> str:
    """Write a duration in milliseconds with one decimal, rounded down; for lower bounds only."""
    tenths = duration_ns * 10 // NS_PER_MS
    return f"{tenths // 10:,}".replace(",", " ") + f".{tenths % 10} ms"


def format_s(duration_ns: int) -> str:
    """Write a duration in seconds with one decimal, rounded up."""
    tenths = -(-duration_ns * 10 // NS_PER_S)
    return f"{tenths // 10}.{tenths % 10} s"


def format_count(number: int) -> str:
    """Write a whole number with a thin gap between thousands: ``12 000``."""
    return f"{number:,}".replace(",", " ")
