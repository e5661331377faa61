"""Entering and leaving network namespaces."""

from pathlib import Path

import pytest

from qualify.errors import TrafficError
from qualify.traffic.namespaces import in_namespace

OWN = Path("/proc/thread-self/ns/net")


def test_no_namespace_means_to_stay() -> None:
    before = OWN.readlink()
    with in_namespace(None):
        assert OWN.readlink() == before


def test_a_file_that_is_no_namespace_cannot_be_entered(tmp_path: Path) -> None:
    file = tmp_path / "p1"
    file.touch()
    before = OWN.readlink()
    with (
        pytest.raises(TrafficError, match="p1 cannot be entered: Invalid argument"),
        in_namespace(file),
    ):
        pass
    assert OWN.readlink() == before
