"""How a duration stands in a record: whole nanoseconds inside, a decimal number in the file."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from qualify.record.place import Place

# A decimal such as 1e999999 would be built digit by digit; no duration has a hundred digits.
_MOST_DIGITS = 100


@dataclass(frozen=True, slots=True)
class FileUnit:
    """The unit a duration has in the file: the end of its key, and how many decimals are a ns."""

    suffix: str
    places: int

    def key(self, field_name: str) -> str:
        """Turn the name of a field into the key: ``outage_ns`` into ``outage_ms``."""
        return f"{field_name.removesuffix('_ns')}_{self.suffix}"

    def write(self, duration_ns: int) -> Decimal:
        """Write nanoseconds as a decimal number without trailing zeros: 48 300 000 ns is 48.3."""
        sign = "-" if duration_ns < 0 else ""
        whole, fraction = divmod(abs(duration_ns), 10**self.places)
        text = f"{sign}{whole}.{fraction:0{self.places}d}"
        return Decimal(text.rstrip("0").rstrip("."))

    def read(self, number: int | Decimal, place: Place) -> int:
        """Read it back.

        Raises:
            RecordError: finer than a nanosecond, or out of all proportion.
        """
        exact = Decimal(number)
        _, digits, exponent = exact.as_tuple()
        if not isinstance(exponent, int) or len(digits) + abs(exponent) > _MOST_DIGITS:
            raise place.complain("this number is no duration")
        sign = -1 if exact < 0 else 1
        value = int("".join(map(str, digits)))
        shift = exponent + self.places
        if shift >= 0:
            return sign * value * int(10**shift)
        whole, rest = divmod(value, int(10**-shift))
        if rest:
            raise place.complain(f"{number} is finer than a nanosecond")
        return sign * whole


WrittenInMs = Annotated[int, FileUnit("ms", 6)]
WrittenInS = Annotated[int, FileUnit("s", 9)]
