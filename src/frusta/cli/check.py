"""`frusta check`: every fault of a package at once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from frusta.cli.say import say


def check(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="A package: folder or zip.")],
) -> None:
    """Check tables, links between them, recordings and hashes; list every fault with its place.

    Exit code 0: nothing to mend. 1: faults were found; each line says table, row, column, what, and what to do.
    """
    from frusta.campaign.check import check_package

    result = check_package(campaign)
    for line in result.lines():
        say(line)
    if result.faults:
        raise typer.Exit(1)
