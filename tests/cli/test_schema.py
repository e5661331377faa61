"""``qualify schema``."""

import json

import pytest

from qualify.cli.main import main


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("testbed", "a testbed"),
        ("case", "a case"),
        ("image", "the manifest of a software image"),
    ],
)
def test_the_schema_is_printed_as_json(
    name: str, title: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["schema", name]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == title
