"""`frusta publish`: the report and everything behind it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from frusta.cli.say import say


def publish(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="A package: folder or zip.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for the report; replaced when it is one.")],
    cores: Annotated[int | None, typer.Option("--cores", min=1, help="Processes to use; all by default.")] = None,
    without_private: Annotated[
        bool,
        typer.Option("--without-private", help="Leave notes, columns of your own and photos out of the package."),
    ] = False,
    slides: Annotated[
        bool, typer.Option("--slides", help="Every drawing as a 16:9 picture with large type, too.")
    ] = False,
    music: Annotated[
        Path | None, typer.Option("--music", metavar="FILE", help="Your own music, WAV or FLAC, to hear cones by.")
    ] = None,
    cones: Annotated[
        tuple[str, str] | None, typer.Option("--cones", metavar="A B", help="The two specimens to hear it through.")
    ] = None,
    start: Annotated[float, typer.Option("--from", metavar="S", min=0.0, help="Where in the music to begin, s.")] = 0.0,
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="S", min=0.5, max=60.0, help="How much of it, s.")
    ] = 20.0,
) -> None:
    """Publish a campaign: one page that needs nothing else, figures, tables, and the package as zip with hashes.

    With --music and --cones your own music is written as two cones play it, equally loud, with a blind test to hear
    whether you can tell them apart. Mind your ears, and publish only music that you may.
    """
    from frusta.campaign.analysis import analyse
    from frusta.cli.progress import progress
    from frusta.errors import ParameterError
    from frusta.publish.listening import Listening
    from frusta.publish.report import publish as write_report

    if (music is None) != (cones is None):
        raise ParameterError("--music and --cones belong together (one is missing); give a file and two specimens")
    listening = Listening(music, cones, start, seconds) if music and cones else None
    with progress("Reading takes") as show:
        analysis = analyse(campaign, cores=cores, progress=show)
    with progress("Drawing") as show:
        page = write_report(
            analysis, campaign, out, progress=show, private=not without_private, slides=slides, listening=listening
        )
    say(f"Report: {page}")
