"""`frusta demo`: the whole job on the built-in virtual rig."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frusta.cli.say import say

if TYPE_CHECKING:
    from frusta.campaign.analysis import Analysis


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Where to work; must be new, empty, or an earlier demo.")
    ] = Path("frusta-demo"),
    cores: Annotated[int | None, typer.Option("--cores", min=1, help="Processes to use; all by default.")] = None,
) -> None:
    """Do the whole job on the built-in virtual rig: record, analyse, compare, estimate, forecast, publish.

    The recordings are ordinary files in an ordinary package; nothing downstream knows that the rig is virtual.
    """
    import time

    from frusta.bench.demo_campaign import UNPRINTED, make_demo
    from frusta.campaign.analysis import analyse
    from frusta.campaign.check import check_package
    from frusta.campaign.output import write_analysis
    from frusta.campaign.sentences import summary_lines
    from frusta.cli.progress import progress
    from frusta.publish.report import publish

    begun = time.monotonic()
    package = folder / "campaign"
    say("An invented workshop prints cones of three filaments in three shapes and sweeps them all.")
    with progress("Recording on the virtual rig") as show:
        make_demo(package, cores=cores, progress=show)
    say(check_package(package).lines()[-1])
    with progress("Reading takes") as show:
        analysis = analyse(package, cores=cores, progress=show)
    results = write_analysis(analysis, folder / "results")
    with progress("Drawing the report") as show:
        page = publish(analysis, package, folder / "report", progress=show)
    say()
    for line in summary_lines(analysis.findings):
        say(line)
    say("A cone that was never printed:")
    for line in _forecast(analysis, sorted(UNPRINTED)[0]):
        say(f"  {line}")
    with progress("Weighing what would tell most") as show:
        lines = _next(analysis, show)
    for line in lines:
        say(line)
    say(f"  frusta next {package} also looks for the best cone, which takes minutes.")
    say()
    say(f"Campaign: {package}")
    say(f"Results:  {results}")
    say(f"Report:   {page}  (open it in any browser)")
    say(f"Took {time.monotonic() - begun:.0f} s")


def _next(analysis: Analysis, show: Callable[[int, int], None]) -> list[str]:
    """What would tell most, the best three; the search for the best cone is left out for its time."""
    from frusta.campaign.next_file import suggestion_lines
    from frusta.campaign.next_print import next_print

    told = next_print(
        analysis.package,
        analysis.findings,
        analysis.learned,
        analysis.inferred,
        stage=lambda title: show,
        search=False,
    )
    return suggestion_lines(told, shown=3)


def _forecast(analysis: Analysis, profile: str) -> list[str]:
    """What the material that was listed first will do in a shape that was never printed."""
    from frusta.campaign.forecast_file import forecast_lines
    from frusta.campaign.forecasting import drawn_profile, forecast_cone, profile_row

    package = analysis.package
    material = next(iter(package.materials))
    drawing = drawn_profile(profile_row(package, profile))
    told = forecast_cone(package, material, drawing, profile_key=profile, learned=analysis.learned)
    return forecast_lines(told, profile)
