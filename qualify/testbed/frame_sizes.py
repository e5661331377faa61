"""Mixes of frame sizes and their names: ``aaafg`` is 64, 64, 64, 1280 and 1518 octets.

Source:
    RFC 6985 §4.
"""

from collections.abc import Sequence

LARGEST_FRAME_OCTETS = 9216
NAME_PREFIX = "IMIX - "
MTU_LETTER = "z"
OCTETS_OF_LETTER = {
    "a": 64,
    "b": 128,
    "c": 256,
    "d": 512,
    "e": 1024,
    "f": 1280,
    "g": 1518,
    "h": 2112,
    "i": 9000,
    "j": 16000,
}
_LETTER_OF_OCTETS = {octets: letter for letter, octets in OCTETS_OF_LETTER.items()}


def size_letters(name: str) -> str:
    """Return the letters of a name, which may begin with ``IMIX - ``."""
    return name.removeprefix(NAME_PREFIX)


def read_size_name(name: str, *, mtu_frame_octets: int | None) -> tuple[int, ...]:
    """Return the sizes that a name stands for.

    Args:
        name: with letters of the table only; the reader of files has checked that.
        mtu_frame_octets: the size that the letter z stands for; ``None`` when it does not occur.
    """
    known = OCTETS_OF_LETTER | ({MTU_LETTER: mtu_frame_octets} if mtu_frame_octets else {})
    return tuple(known[letter] for letter in size_letters(name))


def name_sizes(sizes: Sequence[int]) -> str | None:
    """Name a mix: ``IMIX - aaafg``; ``None`` when a size has no letter of its own."""
    letters = [_LETTER_OF_OCTETS.get(octets) for octets in sizes]
    known = [letter for letter in letters if letter is not None]
    return NAME_PREFIX + "".join(known) if len(known) == len(sizes) else None
