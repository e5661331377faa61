"""``qualify check``: read files and show every mistake in them, or say what they hold."""

import argparse
from collections.abc import Iterator
from pathlib import Path

from qualify.errors import FileError, QualifyError
from qualify.plan.fitting import frames_too_small
from qualify.testbed.case import Case
from qualify.testbed.case_file import check_case, read_case
from qualify.testbed.frame_sizes import name_sizes
from qualify.testbed.image import Image
from qualify.testbed.image_file import find_image, read_images
from qualify.testbed.testbed import Testbed
from qualify.testbed.testbed_file import read_testbed


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "check",
        help="check a testbed, its software images and cases without touching the bench",
        description="Read a testbed file, the software images that it names, and case files, and "
        "show every mistake in them at once: exit status 1. Files without mistakes are summed up "
        "in a line each: exit status 0.",
    )
    parser.add_argument("testbed", metavar="TESTBED", type=Path, help="a testbed file")
    parser.add_argument("cases", metavar="CASE", type=Path, nargs="*", help="case files")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check the files; the testbed first, for the others are compared with it."""
    mistakes = 0
    for finding in _findings(args.testbed, args.cases):
        print(finding)
        mistakes += isinstance(finding, QualifyError)
    return 1 if mistakes else 0


def _findings(testbed_file: Path, case_files: list[Path]) -> Iterator[str | QualifyError]:
    """Give what there is to say about each file: a line, or an error with all its complaints."""
    testbed = None
    try:
        testbed = read_testbed(testbed_file)
        yield f"{testbed_file}: {_describe_testbed(testbed)}"
    except FileError as error:
        yield error
    if testbed:
        yield from _image_findings(testbed)
    for file in case_files:
        try:
            if testbed:
                yield from _case_findings(read_case(file, testbed), testbed)
            else:
                check_case(file)
                yield f"{file}: no mistake of its own; not compared with the testbed"
        except FileError as error:
            yield error


def _image_findings(testbed: Testbed) -> Iterator[str | FileError]:
    try:
        images = read_images(testbed.images)
        for release in sorted({dut.release for dut in testbed.duts}):
            find_image(testbed, release=release, images=images)
        yield f"{testbed.images}: {_describe_images(testbed, images)}"
    except FileError as error:
        yield error


def _case_findings(case: Case, testbed: Testbed) -> Iterator[str | QualifyError]:
    objections = frames_too_small(testbed, case)
    yield from objections
    if not objections:
        yield f"{case.file}: {_describe_case(case, testbed)}"


def _describe_testbed(testbed: Testbed) -> str:
    paths = ", ".join(path.name for path in testbed.paths)
    return (
        f"testbed {testbed.name}, {testbed.kind}, {_count(len(testbed.duts), 'device')} on "
        f"{_count(testbed.tiers, 'tier')}, {_count(len(testbed.tester.ports), 'tester port')}, "
        f"paths {paths}"
    )


def _describe_images(testbed: Testbed, images: tuple[Image, ...]) -> str:
    driver = testbed.duts[0].driver
    releases = [image.release for image in images if image.driver == driver]
    return f"releases for {driver} devices: {', '.join(releases)}"


def _describe_case(case: Case, testbed: Testbed) -> str:
    summary = (
        f"case {case.name}, {_count(case.trials, 'trial')}, {case.order}, paths "
        f"{', '.join(case.paths)}, {case.stream.offered_load_pps} frames of "
        f"{_describe_sizes(case.stream.sizes)} octets per second"
    )
    if case.tiers == testbed.tiers:
        return summary
    return f"{summary}; needs {_count(case.tiers, 'tier')}, so it is left out on this testbed"


def _describe_sizes(sizes: tuple[int, ...]) -> str:
    """Write one size, or a mix: its name, or from which size to which."""
    if len(sizes) == 1:
        return str(sizes[0])
    return name_sizes(sizes) or f"{min(sizes)} to {max(sizes)}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
