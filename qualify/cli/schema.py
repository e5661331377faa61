"""``qualify schema``: print the JSON Schema of a kind of file, for editors."""

import argparse

from qualify.testbed.schema_file import SCHEMA_NAMES, read_schema


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "schema",
        help="print the JSON Schema of a kind of file",
        description="Print the JSON Schema (draft 2020-12) of a kind of file. Save it and name it "
        "in your editor to have keys completed and mistakes shown while you write.",
    )
    parser.add_argument("name", choices=SCHEMA_NAMES, help="the kind of file")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the schema."""
    print(read_schema(args.name), end="")
    return 0
