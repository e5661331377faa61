"""The marks that select cases: the kind of their paths, and the tiers they are made for."""

import pytest

_MARKS = {
    "l2": "case over plain switching only",
    "igp": "case over an interior routing protocol only",
    "egp": "case over an exterior routing protocol only",
    "mixed": "case over several kinds of path at once",
    "one_tier": "case for a testbed of one tier",
    "multi_tier": "case for a testbed of several tiers",
}


def declare_marks(config: pytest.Config) -> None:
    """Make the marks of cases known to pytest."""
    for name, meaning in _MARKS.items():
        config.addinivalue_line("markers", f"{name}: {meaning}")
