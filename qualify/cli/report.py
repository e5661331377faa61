"""``qualify report``: write the report of a train anew from the records of its runs."""

import argparse
from pathlib import Path

from qualify.report.publish import write_reports


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "report",
        help="write the report of a train anew from the records of its runs",
        description="Read every record of a train and write its report.html, and the index.html "
        "that lists all trains. Nothing is measured and no record is changed.",
    )
    parser.add_argument("train", metavar="TRAIN", help="the software train, e.g. 5.2")
    parser.add_argument(
        "--reports",
        metavar="DIR",
        type=Path,
        default=Path("reports"),
        help="folder that holds the reports of all trains (reports)",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the report and say where it is."""
    print(f"report: {write_reports(args.reports, args.train)}")
    return 0
