"""Numbers as a reason says them."""

from qualify.units import format_count


def number_of(number: int, word: str) -> str:
    """Write ``1 frame`` or ``12 000 frames``."""
    return f"{format_count(number)} {word}{'' if number == 1 else 's'}"


def number_allowed(number: int) -> str:
    """Write how many a budget allows: ``none allowed`` or ``2 allowed``."""
    return f"{format_count(number) if number else 'none'} allowed"
