"""`frusta publish`: the report and everything behind it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def publish(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="A package: folder or zip.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for the report; replaced when it is one.")],
    cores: Annotated[int | None, typer.Option("--cores", min=1, help="Processes to use; all by default.")] = None,
) -> None:
    """Publish a campaign: one page that needs nothing else, figures, tables, and the package as zip with hashes."""
    from frusta.campaign.analysis import analyse
    from frusta.cli.progress import progress
    from frusta.publish.report import publish as write_report

    with progress("Reading takes") as show:
        analysis = analyse(campaign, cores=cores, progress=show)
    with progress("Drawing") as show:
        page = write_report(analysis, campaign, out, progress=show)
    typer.echo(f"Report: {page}")
