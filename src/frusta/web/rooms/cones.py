"""Cones: every specimen in a rack, and one of them on its ticket."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import FileResponse, HTMLResponse
from starlette.concurrency import run_in_threadpool

from frusta.campaign.forecasting import drawn_profile
from frusta.campaign.rows import Specimen
from frusta.errors import FrustaError, ParameterError
from frusta.publish.words import NBSP
from frusta.web import cone_words
from frusta.web.check_chart import check_chart_of
from frusta.web.photos import keep_photo, photo_path, photos_of, take_away
from frusta.web.problems import a_file
from frusta.web.rooms.campaign import fields_of
from frusta.web.section_drawing import section_svg
from frusta.web.views import Views, glyph

EVENTS = ("printed", "weighed", "annealed", "coated", "played", "dropped", "stored", "repaired")


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    desk = views.desk

    @routes.get("/cones", response_class=HTMLResponse, include_in_schema=False)
    def room(request: Request, cone: str = "", find: str = "") -> HTMLResponse:
        if not desk.is_campaign:
            return views.page("empty.html", request, "cones", "Cones", says="No cone is listed yet.")
        package = desk.package
        known = desk.ensure_read()
        rack = cone_words.rack_of(package, known.findings if known else None, find)
        chosen = cone if cone in package.specimens else ""
        return views.page(
            "cones.html",
            request,
            "cones",
            "Cones",
            rack=rack,
            find=find,
            glyphs={key: glyph(package.profiles.get(key)) for key, _ in rack.columns},
            card=_card(views, chosen) if chosen else None,
            check=check_chart_of(desk) if known else None,
            faults=desk.opened.faults,
            editable=("specimens", "profiles", "materials", "recipes", "rigs", "sessions", "history"),
            new_fields=fields_of(views, Specimen, None),
            **views.reading_work(),
        )

    @routes.get("/cones/{key}", response_class=HTMLResponse, include_in_schema=False)
    def card(request: Request, key: str) -> HTMLResponse:
        return views.render("cone_card.html", request, card=_card(views, key))

    @routes.get("/api/specimens", tags=["cones"])
    def specimens() -> list[dict[str, Any]]:
        """Return every specimen, with its seatings and why it wants another look."""
        known = desk.look()
        package = desk.package
        due = cone_words.reasons_to_look(package, known.findings if known else None)
        return [{**s.model_dump(), "look_again": due.get(s.specimen)} for s in package.specimens.values()]

    @routes.post("/api/specimens/{key}/history", tags=["cones"])
    def add_event(
        key: str,
        event: Annotated[str, Body()],
        when: Annotated[str, Body()] = "",
        details: Annotated[str, Body()] = "",
    ) -> dict[str, Any]:
        """Add a dated event to a specimen's history."""
        package = desk.package
        if key not in package.specimens:
            raise ParameterError(f"specimen must be one of specimens.csv (got {key[:64]!r}); reload the page")
        cells = {"specimen": key, "date": when or date.today().isoformat(), "event": event}
        if details:
            cells["details"] = details
        desk.edits.append(package, desk.writable, "history", cells, f"Noted that {key} was {event}.")
        return {"said": f"Noted: {key} {event}.", "undo": True}

    @routes.post("/api/specimens/{key}/photos", tags=["cones"])
    async def add_photo(key: str, request: Request) -> dict[str, Any]:
        """Add a photo: the body is a JPEG of at most 1 MB."""
        data = await request.body()
        await run_in_threadpool(keep_photo, desk.package, desk.writable, desk.edits, key, data)
        return {"said": f"Kept a photo of {key}.", "undo": True}

    @routes.get(
        "/api/specimens/{key}/photos/{number}",
        tags=["cones"],
        responses=a_file("image/jpeg"),
        response_class=FileResponse,
    )
    def photo(key: str, number: int) -> FileResponse:
        """Return a photo."""
        return FileResponse(photo_path(desk.package, key, number), media_type="image/jpeg")

    @routes.delete("/api/specimens/{key}/photos/{number}", tags=["cones"])
    def drop_photo(key: str, number: int) -> dict[str, Any]:
        """Take a photo out of the package."""
        take_away(desk.package, desk.writable, desk.edits, key, number)
        return {"said": f"Took away a photo of {key}.", "undo": True}

    return routes


def _card(views: Views, key: str) -> dict[str, Any]:
    """All that the ticket of a specimen shows.

    Raises
    ------
    ParameterError
        If there is no such specimen.
    """
    desk = views.desk
    package = desk.package
    row = package.specimens.get(key)
    if row is None:
        raise ParameterError(f"specimen must be one of specimens.csv (got {key[:64]!r}); choose one of the rack")
    known = desk.look()
    profile = package.profiles.get(row.profile or "")
    drawing = None
    if profile is not None:
        try:
            wall = f"{profile.wall_mm:g}{NBSP}mm wall"
            drawing = section_svg(
                drawn_profile(profile),
                label=f"Section to scale: rim {2 * profile.rim_radius_mm:g} mm, {profile.depth_mm:g} mm deep, {wall}",
            )
        except FrustaError:
            drawing = None
    findings = known.findings if known else None
    walls = [
        (name, f"{value:g}{NBSP}mm")
        for name, value in (("Wall at the neck", row.wall_neck_mm), ("Wall at the rim", row.wall_rim_mm))
        if value
    ]
    if profile is not None and not walls:
        walls = [("Wall as drawn", f"{profile.wall_mm:g}{NBSP}mm")]
    readings = cone_words.figures_of(findings, key)
    takes = [t for t in package.takes.values() if t.specimen == key]
    return {
        "row": row,
        "name": cone_words.name_of(row, package),
        "glyph": glyph(profile, 92, 44),
        "drawing": drawing,
        "masses": cone_words.mass_words(row, package),
        "walls": walls,
        "recipe": cone_words.recipe_words(package.recipes.get(row.recipe or "")),
        "history": cone_words.history_of(package, key),
        "readings": readings,
        "counting": [r for r in readings if r["quality"] != "repeat"],
        "spoiled": [r for r in readings if r["quality"] == "repeat"],
        "takes": takes,
        "seatings": sorted({t.seating for t in takes}),
        "due": cone_words.reasons_to_look(package, findings).get(key, ""),
        "fields": fields_of(views, Specimen, row),
        "events": EVENTS,
        "photos": photos_of(package, key),
        "today": date.today().isoformat(),
    }
