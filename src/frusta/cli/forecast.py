"""`frusta forecast`: a cone that has not been printed."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from frusta.cli.say import say

if TYPE_CHECKING:
    from frusta.campaign.package import Package
    from frusta.cone.profile import ConeProfile


class Shape(StrEnum):
    """Words of profiles.csv."""

    straight = "straight"
    concave = "concave"
    convex = "convex"


class WallRule(StrEnum):
    """Words of profiles.csv."""

    normal = "normal"
    line = "line"


GEOMETRY = "Geometry"
HEAT = "Heat at the neck"


def forecast(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="A package: folder or zip.")],
    material: Annotated[str, typer.Option("--material", metavar="M", help="Key of materials.csv.")],
    recipe: Annotated[
        str | None, typer.Option("--recipe", metavar="R", help="Key of recipes.csv; else as the cones were printed.")
    ] = None,
    profile: Annotated[
        str | None, typer.Option("--profile", metavar="P", help="Key of profiles.csv; or give the geometry below.")
    ] = None,
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the forecast here.")] = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", metavar="FILE", help="Draw it here, SVG or PNG, recorded cones beside it.")
    ] = None,
    rig: Annotated[
        str | None, typer.Option("--rig", metavar="RIG", help="Key of rigs.csv; else the one most takes were made on.")
    ] = None,
    handbook: Annotated[
        bool, typer.Option("--handbook", help="Do not read the recordings: forecast from handbook ranges alone.")
    ] = False,
    cores: Annotated[int | None, typer.Option("--cores", min=1, help="Processes to use; all by default.")] = None,
    shape: Annotated[Shape | None, typer.Option(help="Meridian.", rich_help_panel=GEOMETRY)] = None,
    neck_mm: Annotated[float | None, typer.Option(help="Radius of the neck, mm.", rich_help_panel=GEOMETRY)] = None,
    rim_mm: Annotated[float | None, typer.Option(help="Radius of the rim, mm.", rich_help_panel=GEOMETRY)] = None,
    depth_mm: Annotated[float | None, typer.Option(help="Neck to rim, mm.", rich_help_panel=GEOMETRY)] = None,
    bow_mm: Annotated[
        float | None, typer.Option(help="Height over the chord, mm; below 0 is concave.", rich_help_panel=GEOMETRY)
    ] = None,
    wall_mm: Annotated[float | None, typer.Option(help="Wall, mm.", rich_help_panel=GEOMETRY)] = None,
    wall_rule: Annotated[
        WallRule | None,
        typer.Option(help="Wall along the normal, or whole lines in the layer.", rich_help_panel=GEOMETRY),
    ] = None,
    heat: Annotated[
        bool, typer.Option("--heat", help="Coil and neck at some powers, what was assumed.", rich_help_panel=HEAT)
    ] = False,
    thermal: Annotated[
        float | None,
        typer.Option("--thermal", metavar="K/W", min=0.1, help="From coil to room, stated.", rich_help_panel=HEAT),
    ] = None,
    hot_coil: Annotated[
        str | None,
        typer.Option(metavar="OHM@W", help="Measured: 7.1@4 is 7.1 ohm, settled at 4 W.", rich_help_panel=HEAT),
    ] = None,
    room_c: Annotated[float | None, typer.Option(help="Where it will play, °C.", rich_help_panel=HEAT)] = None,
) -> None:
    """Say what a cone will do before it is printed: mass, modes, response with its band, break-up, printability.

    The material is estimated from the campaign's recordings; one that was never recorded is taken from handbook
    ranges, with a band as wide as that deserves. Geometry options change the profile named, or make one without it.
    The estimate is kept, so that a second forecast of the same recordings takes a second or two.
    """
    from frusta.campaign.atomic import write_atomically
    from frusta.campaign.forecast_file import forecast_document, forecast_json, forecast_lines
    from frusta.campaign.forecasting import forecast_cone, forecast_rig, knowledge_of, rig_of
    from frusta.campaign.heat import heat_document, heat_line, heat_lines, heat_of, parse_hot_coil
    from frusta.campaign.lessons import NOTHING, lessons_of
    from frusta.campaign.package import open_package
    from frusta.cli.progress import progress

    package = open_package(campaign)
    given = {
        "neck_radius_mm": neck_mm,
        "rim_radius_mm": rim_mm,
        "depth_mm": depth_mm,
        "bow_mm": bow_mm,
        "wall_mm": wall_mm,
    }
    words = {"shape": shape.value if shape else None, "wall_rule": wall_rule.value if wall_rule else None}
    changed = {key: value for key, value in {**given, **words}.items() if value is not None}
    name, drawing = _drawing(package, profile, changed)
    knowledge_of(package, material, recipe, NOTHING.learned)  # an unknown name is told before the recordings are read
    lessons = NOTHING
    if not handbook:
        with progress("Reading takes") as show:
            lessons = lessons_of(package, campaign, cores=cores, progress=show)
    told = forecast_cone(
        package,
        material,
        drawing,
        recipe=recipe,
        rig=rig,
        profile_key=None if changed else profile,
        learned=lessons.learned,
    )
    recorded = [] if changed else lessons.recorded(package, material, told.recipe, name)
    document = forecast_document(told, name, recorded)
    chosen = rig_of(package, rig)
    borne, why = heat_of(
        package,
        chosen,
        material,
        drawing,
        forecast_rig(package, chosen).coil.resistance_ohm,
        thermal_k_w=thermal,
        hot_coil=parse_hot_coil(hot_coil) if hot_coil else None,
        room_c=room_c,
    )
    document["heat"] = heat_document(borne)
    remark = lessons.remark(material, told.recipe)
    if remark is not None:
        document["reasons"]["estimate"] = remark
    if why is not None:
        document["reasons"]["heat"] = why
    if json_file is not None:
        write_atomically(json_file, forecast_json(document))
    if chart is not None:
        from frusta.publish.forecast_drawing import write_forecast_chart

        write_forecast_chart(document, chart)
    for line in forecast_lines(told, name):
        say(line)
    if remark is not None:
        say(f"  of the recordings: {remark}")
    say(f"  {heat_line(borne, why)}")
    for line in heat_lines(borne) if heat and borne else ():
        say(f"    {line}")
    for cone in recorded:
        say(f"  recorded beside it: {cone['take']}")
    for place in (json_file, chart):
        if place is not None:
            say(f"Written: {place}")


def _drawing(package: Package, profile: str | None, changed: Mapping[str, Any]) -> tuple[str, ConeProfile]:
    """The geometry asked for: a profile of the package, changed by the options, or made of them alone."""
    from frusta.campaign.forecasting import drawn_profile, profile_row
    from frusta.campaign.rows import Profile
    from frusta.errors import ParameterError

    if profile is not None:
        row = profile_row(package, profile)
        return (f"{profile}, changed" if changed else profile), drawn_profile(row.model_copy(update=changed))
    needed = ("shape", "neck_radius_mm", "rim_radius_mm", "depth_mm", "wall_mm")
    missing = [key for key in needed if key not in changed]
    if missing:
        options = ", ".join("--" + key.replace("_radius", "").replace("_", "-") for key in missing)
        raise ParameterError(f"name a --profile of the package, or give its geometry ({options} missing)")
    row = Profile.model_construct(None, **{"profile": "new", "bow_mm": 0.0, "wall_rule": None, "cap": None, **changed})
    return "new", drawn_profile(row)
