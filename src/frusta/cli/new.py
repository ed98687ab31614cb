"""`frusta new`: start a package."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from frusta.cli.say import say


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that does not exist yet, or is empty.")],
) -> None:
    """Start a package: headed tables with an example row, and the sweep to play as WAV.

    Fill in the tables with any spreadsheet (plain CSV). Then play the sweep through your rig, record each cone,
    put the recordings into the folder `recordings`, name them in takes.csv, and run `frusta check`.
    """
    from frusta.campaign.starting import start_package

    for line in start_package(folder):
        say(line)
