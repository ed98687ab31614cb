"""`frusta doctor`: what is missing on this machine and how to get it; and a report fit to be sent."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frusta.cli.say import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from frusta.cli.doctor_checks import Check

MARKS = {"ok": "ok      ", "missing": "MISSING ", "optional": "optional"}
LOG_LINES = 400


def doctor(
    report: Annotated[
        Path | None,
        typer.Option("--report", metavar="FILE", help="Also write it, with the log, to send with a bug report."),
    ] = None,
) -> None:
    """Look at this machine: what frusta needs, what is missing, and how to get it here.

    Exit code 0: all that is needed is there. 1: something is missing; its line says what to do. What is optional and
    absent is told but is no fault.

    The report holds these lines, versions and the last lines of the log. Your folders, the campaign's path and your
    name are replaced in it (~, <path 1>, <user>); look through it before you send it. Nothing is sent by itself.
    """
    from frusta.cli.doctor_checks import check_machine

    checks = check_machine()
    for line in lines_of(checks):
        say(line)
    missing = sum(check.state == "missing" for check in checks)
    if report is not None:
        _write(report, checks)
        say(f"Written: {report}. Look through it before you send it.")
    say(f"{missing} missing." if missing else "All that is needed is there.")
    if missing:
        raise typer.Exit(1)


def lines_of(checks: Sequence[Check]) -> list[str]:
    """Return a line a check, and a further one where there is something to do."""
    lines = []
    for check in checks:
        lines.append(f"{MARKS[check.state]}  {check.what}: {check.found}")
        if check.remedy:
            lines.append(f"{'':10}to get it: {check.remedy}")
    return lines


def report_text(checks: Sequence[Check]) -> str:
    """Return what is fit to be sent: checks, versions and the log's last lines, without private places."""
    from importlib.metadata import distributions

    from frusta.cli.log_file import Scrubber, last_lines
    from frusta.version import __version__

    scrub = Scrubber(())
    versions = sorted(
        {f"{d.metadata['Name']} {d.version}" for d in distributions() if d.metadata["Name"]}, key=str.lower
    )
    parts = (
        [f"frusta {__version__}", "", *map(scrub, lines_of(checks))],
        ["", "Python libraries:", *versions],
        ["", f"The last {LOG_LINES} lines of the log:", *last_lines(LOG_LINES)],
    )
    return "\n".join(line for part in parts for line in part) + "\n"


def _write(path: Path, checks: Sequence[Check]) -> None:
    from frusta.campaign.atomic import write_atomically

    write_atomically(path, report_text(checks).encode("utf-8", "replace"))
