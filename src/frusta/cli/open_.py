"""`frusta open`: the page, in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from frusta.cli.say import say


def open_(
    campaign: Annotated[
        Path, typer.Argument(metavar="[CAMPAIGN]", help="A package, folder or zip; or a folder to start one in.")
    ] = Path("."),
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 takes any that is free.")] = 8418,
    share: Annotated[
        bool, typer.Option("--share", help="Let other devices of this network in, if they know a word shown here.")
    ] = False,
    device: Annotated[
        str | None, typer.Option("--device", help="Sound device for the Bench, as of frusta record; or virtual.")
    ] = None,
    cores: Annotated[
        int | None, typer.Option("--cores", min=1, help="Processes to read takes; all by default.")
    ] = None,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser by itself.")] = True,
) -> None:
    """Open the page: Bench, Cones, Differences, Next cone and Report, in your browser.

    It runs on this machine and asks nothing of any network. The address holds a key: who does not have it, cannot
    look and cannot change anything. With --share a phone on the same network may join after typing a word that is
    shown here. Ctrl-C ends it; whatever was saved stays, and a sitting goes on where it was left.
    """
    from frusta.web.serving import serve

    serve(campaign, port=port, share=share, device=device, cores=cores, browser=browser, say=say)
