"""From a YAML scalar without quotes to a value: only what nobody can misread becomes a number."""

import re
from decimal import Decimal

from qualify.testbed.node import Scalar, Unquoted

MOST_DIGITS = 18

_WORDS: dict[str, bool | None] = {"": None, "~": None, "null": None, "true": True, "false": False}
_INTEGER = re.compile(r"-?(0|[1-9][0-9]*)")
_DECIMAL = re.compile(r"-?(0|[1-9][0-9]*)\.[0-9]+")
# Everything that YAML 1.1 or YAML 1.2 reads as a number: octal, hexadecimal, binary, to the base
# 60, with underscores, with an exponent, infinite, or not a number at all.
_NUMBER_TO_SOME = re.compile(
    r"[-+]?(0[xob][0-9a-f_]+|[0-9][0-9_]*(:[0-5]?[0-9])*(\.[0-9_]*)?(e[-+]?[0-9]+)?"
    r"|\.[0-9][0-9_]*(e[-+]?[0-9]+)?|\.inf|\.nan)",
    re.IGNORECASE,
)


def read_plain(text: str) -> Scalar | Unquoted:
    """Read a scalar that stands without quotes.

    Numbers are whole or decimal, with at most 18 characters, so that they stay exact everywhere.
    ``on``, ``off``, ``yes`` and ``no`` are text.

    Source:
        YAML 1.2.2 §10.3.2 and YAML 1.1 (int, float), which disagree on what is a number.
    """
    if text in _WORDS:
        return _WORDS[text]
    if len(text) <= MOST_DIGITS and _INTEGER.fullmatch(text):
        return int(text)
    if len(text) <= MOST_DIGITS and _DECIMAL.fullmatch(text):
        return Decimal(text)
    return Unquoted(text) if _NUMBER_TO_SOME.fullmatch(text) else text
