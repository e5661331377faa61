"""The end of a run on the terminal: the table of verdicts, the decision, the report's path."""

import pytest

from qualify.plugin.run import Run
from qualify.record.model import Record
from qualify.report.table import verdict_table


def write_summary(terminal: pytest.TerminalReporter, run: Run, record: Record) -> None:
    """Write the verdict table and where record and report are."""
    terminal.section(f"qualification of {record.release} (train {record.train})", sep="=")
    for line in verdict_table(record):
        terminal.write_line(line)
    if run.logbook is not None:
        terminal.write_line(f"record: {run.logbook.folder.record_file}")
        terminal.write_line(f"report: {run.logbook.publish()}")
