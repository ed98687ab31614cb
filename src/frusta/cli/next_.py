"""`frusta next`: what to print next, and why."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from frusta.cli.say import say

LIMITS = "Limits of the search"
SPAN = "LOW:HIGH"


def next_(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="A package: folder or zip.")],
    goal: Annotated[
        str | None,
        typer.Option(
            "--goal",
            metavar="TEXT",
            help="What the cone is for, parts with weights: 'piston limit 40, evenness 30, mass 10, band 300-6000'. "
            "Parts: piston limit, upper limit, evenness, decay, mass, level, distortion.",
        ),
    ] = None,
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write it all here.")] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Trade-off and forecasts as SVG and PNG, the answers as rows of profiles.csv."
        ),
    ] = None,
    cores: Annotated[
        int | None, typer.Option("--cores", min=1, help="Processes to use; all by default. The result is the same.")
    ] = None,
    rim_mm: Annotated[
        str | None,
        typer.Option(metavar=SPAN, help="Radius of the rim, mm; one number holds it.", rich_help_panel=LIMITS),
    ] = None,
    depth_mm: Annotated[str | None, typer.Option(metavar=SPAN, help="Neck to rim, mm.", rich_help_panel=LIMITS)] = None,
    bow_mm: Annotated[
        str | None,
        typer.Option(
            metavar=SPAN, help="Height over the chord, mm; below 0 is concave: --bow-mm=-3:0.", rich_help_panel=LIMITS
        ),
    ] = None,
    wall_mm: Annotated[
        str | None, typer.Option(metavar=SPAN, help="Wall, mm; whole lines are kept.", rich_help_panel=LIMITS)
    ] = None,
    questions_only: Annotated[
        bool, typer.Option("--questions-only", help="Only what would tell most; do not look for the best cone.")
    ] = False,
) -> None:
    """Say what to print next, and why: what would tell most, and which cone would be best.

    What would tell most: every filament in every profile, every cone seated once more, and three tapped coupons are
    weighed by how far they would narrow what is open: figures of the materials, differences that cannot be told, the
    score of the best cone. It follows from the estimate's own uncertainty and the scatter of your prints.

    The best cone: shapes, walls and filaments are tried out on computed responses, within a fifth of your own cones
    (or the limits given), as whole printed lines, and only what prints. Several distinct answers are told, with where
    95 % of prints will lie and how probably each is better than the best you have. --goal says what counts; hold the
    size of your driver with --rim-mm.

    It takes minutes. Ctrl-C stops the search, and what was found until then is told.
    """
    from frusta.campaign.analysed import analysed
    from frusta.campaign.atomic import write_atomically
    from frusta.campaign.next_file import next_document, next_json, next_lines
    from frusta.campaign.next_print import next_print
    from frusta.campaign.package import open_package
    from frusta.campaign.wish_words import wish_of
    from frusta.cli.progress import progress

    package = open_package(campaign)
    wish = wish_of(goal, {"rim_mm": rim_mm, "depth_mm": depth_mm, "bow_mm": bow_mm, "wall_mm": wall_mm})
    with progress("Reading takes") as show:
        known = analysed(package, campaign, cores=cores, progress=show)
    with ExitStack() as stages:

        def stage(title: str) -> Callable[[int, int], None]:
            stages.close()
            return stages.enter_context(progress(title))

        told = next_print(
            package,
            known.findings,
            known.learned,
            known.inferred,
            wish=wish,
            cores=cores,
            stage=stage,
            search=not questions_only,
        )
    document = next_document(told)
    for line in next_lines(told):
        say(line)
    if json_file is not None:
        write_atomically(json_file, next_json(document))
        say(f"Written: {json_file}")
    if out is not None:
        from frusta.publish.next_drawing import write_next

        say(f"Written: {write_next(told, document, package, out)}")
