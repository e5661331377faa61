"""The command line: everything around qualification runs that is not itself a test run."""

import argparse
import sys
from collections.abc import Sequence

from qualify import __version__
from qualify.cli import check, demo, lab, measure, report, schema
from qualify.errors import QualifyError

# Each module brings add_parser(subparsers), which names its run(args) -> exit status.
SUBCOMMANDS = (check, demo, lab, measure, report, schema)

EPILOG = """exit status:
  0  done, and nothing to complain about
  1  check found mistakes in the files; measure saw frames that did not arrive as they should
  2  the command could not do its work: wrong usage, or an error that it explains
demo ends with the exit status of the test run that it starts.
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one subcommand and return the exit status."""
    args = _parser().parse_args(argv)
    try:
        status: int = args.run(args)
    except QualifyError as error:
        print(error, file=sys.stderr)
        return 2
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="qualify",
        description="Tools around the qualification of in-service software upgrades. "
        "The qualification itself is a test run: pytest cases --testbed FILE --release RELEASE.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"qualify {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for subcommand in SUBCOMMANDS:
        subcommand.add_parser(subparsers)
    return parser
