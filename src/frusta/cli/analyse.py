"""`frusta analyse`: from recordings to findings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frusta.cli.say import say

if TYPE_CHECKING:
    from frusta.campaign.analysis import Analysis
    from frusta.campaign.differences import ShelfScatter


def analyse(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="A package: folder or zip.")],
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the findings here as JSON.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Write findings, each list as CSV, curves and impulse responses."),
    ] = None,
    gate_ms: Annotated[
        float | None,
        typer.Option("--gate-ms", help="Set the reflection-free time by hand instead of finding it.", min=0.5),
    ] = None,
    cores: Annotated[int | None, typer.Option("--cores", min=1, help="Processes to use; all by default.")] = None,
    shelf: Annotated[
        str | None,
        typer.Option("--shelf", metavar="PLACE", help="Borrow print scatter for single prints from this shelf."),
    ] = None,
) -> None:
    """Read every take, compare the materials, and say what is clear and what is a tie.

    Prints the findings in words. A figure that cannot be had is left out with its reason; a difference counts
    prints, never takes. Exit code 1 where no take could be read, or some takes are damaged files (the others are
    analysed all the same).
    """
    from frusta.campaign.analysis import analyse as run
    from frusta.campaign.output import write_analysis, write_json
    from frusta.cli.progress import progress

    gate_s = None if gate_ms is None else gate_ms / 1000
    borrowed = None if shelf is None else _borrowed(shelf, campaign)
    with progress("Reading takes") as show:
        analysis = run(campaign, cores=cores, progress=show, gate_s=gate_s, shelf=borrowed)
    if json_file is not None:
        write_json(analysis, json_file)
    if out is not None:
        write_analysis(analysis, out)
    for line in _summary(analysis):
        say(line)
    for place in (json_file, out):
        if place is not None:
            say(f"Written: {place}")
    if analysis.damaged or not analysis.findings.readings:
        raise typer.Exit(1)


def _borrowed(shelf: str, campaign: Path) -> dict[str, ShelfScatter]:
    """Scatter learned from a shelf, this campaign left out."""
    from frusta.campaign.package import open_package
    from frusta.campaign.shelf.scatter_learned import learn_scatter, lent
    from frusta.campaign.shelf.store import Shelf

    return lent(learn_scatter(Shelf(shelf), [open_package(campaign).campaign.campaign]))


def _summary(analysis: Analysis) -> list[str]:
    """The findings as lines of words."""
    from frusta.campaign.sentences import loss_lines, summary_lines
    from frusta.campaign.stays_put import lines_of_stays, stays_of_campaign

    polymers = {key: row.polymer for key, row in analysis.package.materials.items()}
    high = [f"  {line}" for line in loss_lines(analysis.findings.estimates, polymers)]
    return summary_lines(analysis.findings) + high + lines_of_stays(stays_of_campaign(analysis))
