"""From the command line to the plan of a run: which files are meant, and what they say."""

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

import pytest

from qualify.bench.bench import backend_limit
from qualify.errors import FileError, QualifyError
from qualify.plan.planner import plan_run
from qualify.plan.trial import Plan
from qualify.plugin.options import Options
from qualify.testbed.case import Case
from qualify.testbed.case_file import read_case
from qualify.testbed.image_file import find_image, read_images
from qualify.testbed.testbed import Testbed
from qualify.testbed.testbed_file import read_testbed

_OTHER_FILE = re.compile(r"^(testbed|image)\s*:", re.MULTILINE)


def plan_from_files(options: Options, arguments: Sequence[str], *, folder: Path) -> Plan:
    """Read every file that a run needs and plan it.

    Args:
        options: what the user said with our options.
        arguments: pytest's own: case files, folders of them, node ids.
        folder: what relative arguments are relative to.

    Raises:
        pytest.UsageError: with everything that is wrong, one argument for each.
    """
    try:
        testbed = read_testbed(options.testbed)
        cases = _read_cases(case_files(arguments, folder=folder), testbed)
        images = read_images(testbed.images)
        release = options.from_release or testbed.duts[0].release
        return plan_run(
            testbed,
            cases,
            target=find_image(testbed, release=options.release, images=images),
            source=find_image(testbed, release=release, images=images),
            limit=backend_limit(testbed),
            trials=options.trials,
        )
    except QualifyError as error:
        raise pytest.UsageError(str(error)) from error


def case_files(arguments: Iterable[str], *, folder: Path) -> list[Path]:
    """Find the case files that pytest's arguments mean.

    A file that is named is taken as it is; in a folder every ``.yaml`` file is a case, unless it
    calls itself a testbed or an image.
    """
    found: dict[Path, None] = {}
    for argument in arguments:
        path = folder / argument.split("::")[0]
        if path.is_dir():
            found.update(dict.fromkeys(filter(_may_be_case, sorted(path.rglob("*.yaml")))))
        elif path.suffix == ".yaml":
            found[path] = None
    return list(found)


def _may_be_case(file: Path) -> bool:
    with file.open("rb") as stream:
        return not _OTHER_FILE.search(stream.read(65_536).decode(errors="replace"))


def _read_cases(files: Sequence[Path], testbed: Testbed) -> list[Case]:
    """Read all cases, so that one bad file does not hide what is wrong with the next."""
    cases, errors = [], []
    for file in files:
        try:
            cases.append(read_case(file, testbed))
        except FileError as error:
            errors.append(str(error))
    if errors:
        raise pytest.UsageError(*errors)
    return cases
