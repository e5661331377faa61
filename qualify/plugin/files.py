"""From the command line to the plan of a run: which files are meant, and what they say."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from qualify.bench.bench import backend_limit
from qualify.bench.capability_file import read_capability
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


def plan_from_files(options: Options, arguments: Sequence[str]) -> Plan:
    """Read every file that a run needs and plan it.

    Args:
        options: what the user said with our options.
        arguments: pytest's own: case files, folders of them, node ids.

    Raises:
        pytest.UsageError: with everything that is wrong, one argument for each.
    """
    try:
        testbed = read_testbed(options.testbed)
        cases = _read_cases(case_files(arguments), testbed)
        images = read_images(testbed.images)
        kept = read_capability(testbed.tester.traffic, today=datetime.now(UTC).date())
        plan = plan_run(
            testbed,
            cases,
            target=find_image(testbed, release=options.release, images=images),
            source=find_image(testbed, release=_source_release(options, testbed), images=images),
            limit=replace(backend_limit(testbed), seen=kept.capability),
            trials=options.trials,
        )
    except QualifyError as error:
        raise pytest.UsageError(str(error)) from error
    if not plan.trials:
        raise pytest.UsageError(_nothing_to_run(plan))
    return replace(plan, remarks=(kept.remark,)) if kept.remark else plan


def case_files(arguments: Iterable[str]) -> list[Path]:
    """Find the case files that pytest's arguments mean.

    A file that is named is taken as it is; in a folder every ``.yaml`` file is a case, unless it
    calls itself a testbed or an image.
    """
    found: dict[Path, None] = {}
    for argument in arguments:
        path = Path(argument.split("::")[0])
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


def _source_release(options: Options, testbed: Testbed) -> str:
    """The release that every trial starts from; all devices start from the same."""
    releases = {dut.release for dut in testbed.duts}
    if options.from_release is None and len(releases) > 1:
        raise FileError(
            f"the devices start from different releases: {', '.join(sorted(releases))}",
            fix="write the same release for all of them, or say which with --from-release",
            where=f"{testbed.file} duts",
        )
    return options.from_release or releases.pop()


def _nothing_to_run(plan: Plan) -> str:
    if not plan.left_out:
        return "no case file was named\n  fix: name a case file, or a folder of them, e.g. cases"
    reasons = "; ".join(f"{case.name} is {reason}" for case, reason in plan.left_out)
    return f"no case fits {plan.testbed.file}: {reasons}\n  fix: choose another case or testbed"
