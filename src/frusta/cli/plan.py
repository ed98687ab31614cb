"""`frusta plan`: what to print, in which order to seat it, how small a difference that can show."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frusta.cli.say import say

if TYPE_CHECKING:
    from frusta.bench.planning import Scatter


def plan(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="The package, a folder or zip.")],
    prints: Annotated[int | None, typer.Option("--prints", min=1, help="Prints wanted of each group.")] = None,
    difference: Annotated[
        float | None, typer.Option("--difference", metavar="PERCENT", help="Smallest difference that is to be shown.")
    ] = None,
    scatter: Annotated[
        float | None, typer.Option("--scatter", metavar="PERCENT", min=0.01, help="Between prints, where you know it.")
    ] = None,
    findings: Annotated[
        Path | None, typer.Option("--findings", help="findings.json of an earlier analysis: its scatter is used.")
    ] = None,
    shelf: Annotated[
        str | None,
        typer.Option(
            "--shelf",
            metavar="PLACE",
            help="Use the scatter that this shelf has taught; by default your own, if there is one.",
        ),
    ] = None,
    seatings: Annotated[int, typer.Option("--seatings", min=1, help="Seatings of each print.")] = 2,
    seed: Annotated[int, typer.Option("--seed", help="Of the shuffled order.")] = 1,
    save: Annotated[
        bool, typer.Option("--save", help="Write plan.csv into the package; frusta record follows it.")
    ] = False,
) -> None:
    """Say what to print, in which order to seat it, and how small a difference in break-up that can show.

    A difference counts prints, never takes: more prints show less of a difference, more seatings hardly. The order is
    shuffled so that a rig which drifts through the evening cannot pass for a better material.
    """
    from frusta.bench.planning import make_plan
    from frusta.bench.sitting import save_plan
    from frusta.campaign.package import open_package
    from frusta.errors import PackageError

    package = open_package(campaign)
    known = _scatter(scatter, findings, shelf)
    made = make_plan(package, known, prints=prints, difference_percent=difference, seatings=seatings, seed=seed)
    for line in made.lines:
        say(line)
    if save:
        if not campaign.is_dir():
            raise PackageError(f"{campaign}: must be a folder to save a plan into (it is a zip); unpack it first")
        say(f"Saved: {save_plan(package.root, made.turns)}")


def _scatter(stated_percent: float | None, findings: Path | None, shelf: str | None) -> Scatter:
    """What is stated, else what an analysis found, else what the shelf has taught, else a guess."""
    from frusta.bench.planning import (
        GUESSED_PRINT_PERCENT,
        GUESSED_SEATING_PERCENT,
        Scatter,
        scatter_of_findings,
    )
    from frusta.campaign.findings import Findings
    from frusta.errors import FrustaError, PackageError

    if stated_percent is not None:
        return Scatter(stated_percent, GUESSED_SEATING_PERCENT, "stated; that between seatings is a guess")
    if findings is not None:
        try:
            found = scatter_of_findings(Findings.model_validate_json(findings.read_bytes()))
        except (OSError, ValueError) as error:
            raise PackageError(
                f"{findings}: must be the findings.json of frusta analyse ({type(error).__name__}); name another"
            ) from error
        if found is not None:
            return found
    try:
        learned = _learned(shelf)
    except FrustaError as error:
        if shelf is not None:
            raise
        say(f"The shelf teaches nothing: {error}")
        learned = None
    if learned is not None:
        return learned
    named = "the shelf has too few repeated prints" if shelf is not None else "give --scatter, --findings or --shelf"
    return Scatter(GUESSED_PRINT_PERCENT, GUESSED_SEATING_PERCENT, f"a guess: {named}")


def _learned(shelf: str | None) -> Scatter | None:
    """What the shelf that is named, or the maker's own if there is one, has taught."""
    import os

    from frusta.bench.planning import scatter_of_shelf
    from frusta.campaign.shelf.database import default_place

    on_a_server = "://" in os.environ.get("FRUSTA_SHELF", "")
    if shelf is None and not on_a_server and not default_place().exists():
        return None
    from frusta.campaign.shelf.scatter_learned import learn_scatter
    from frusta.campaign.shelf.store import Shelf

    return scatter_of_shelf(learn_scatter(Shelf(shelf)))
