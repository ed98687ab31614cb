"""Import: drop recordings or a campaign; what was understood is corrected in a table before anything is written."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request, UploadFile
from fastapi.responses import HTMLResponse

from frusta.campaign.exporting import export_package
from frusta.campaign.package import open_package
from frusta.errors import FrustaError, PackageError, ParameterError
from frusta.publish.words import count
from frusta.web.problems import Problem, problem_of
from frusta.web.uploads import COLUMNS, MOST_FILES, Uploads, summary_of
from frusta.web.views import Views

KINDS = ("sweep", "impulse", "tap")


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    desk = views.desk
    uploads = Uploads()

    @routes.get("/import", response_class=HTMLResponse, include_in_schema=False)
    def room(request: Request) -> HTMLResponse:
        return views.page("import.html", request, "", "Import", **_understood(views, uploads))

    @routes.post("/api/import/files", tags=["import"])
    async def files(files: list[UploadFile]) -> dict[str, Any]:
        """Take recordings (WAV, FLAC) or one zip of a campaign; nothing is written into the campaign yet."""
        if len(files) > MOST_FILES:
            raise ParameterError(f"at most {MOST_FILES} files can come at once (got {len(files)}); send fewer")
        sent, refused = [], []
        for file in files:
            try:
                sent.append(await uploads.take(file))
            except ParameterError as error:
                refused.append(error)
        if refused and not sent:
            raise refused[0]
        said = f"Looked at {count(len(sent), 'file')}."
        if refused:
            said += f" {count(len(refused), 'file').capitalize()} stayed out: {str(refused[0]).rpartition('; ')[0]}."
        return {"said": said, "files": [s.key for s in sent]}

    @routes.get("/api/import", tags=["import"])
    def plan() -> list[dict[str, Any]]:
        """Return what was understood of each recording, and what must still be told."""
        return [_row(sent, item) for sent, item in uploads.plan(desk.package, desk.writable)]

    @routes.patch("/api/import/{key}", tags=["import"])
    def correct(key: str, cells: Annotated[dict[str, str], Body()]) -> dict[str, Any]:
        """Correct what was understood of one recording; an empty text leaves it to be understood."""
        sent = uploads.sent.get(key)
        if sent is None:
            raise ParameterError("that file is not here any more; reload the page and send it again")
        unknown = [c for c in cells if c not in COLUMNS]
        if unknown:
            raise ParameterError(f"a correction must name one of {', '.join(COLUMNS)} (got {unknown[0][:40]!r})")
        sent.told = {**sent.told, **{c: v.strip()[:80] for c, v in cells.items()}}
        return {"said": ""}

    @routes.delete("/api/import/{key}", tags=["import"])
    def leave_out(key: str) -> dict[str, Any]:
        """Leave a file out; ``all`` forgets them all."""
        uploads.drop(None if key == "all" else key)
        return {"said": "Left out."}

    @routes.post("/api/import/apply", tags=["import"])
    def apply() -> dict[str, Any]:
        """Copy the files and add their rows to takes.csv, or leave everything as it was."""
        takes = uploads.write(desk.package, desk.writable)
        return {"said": f"Took in {count(len(takes), 'take')}.", "go": "/cones"}

    @routes.post("/api/import/campaign", tags=["import"])
    def open_campaign() -> dict[str, Any]:
        """Unpack the zip that was sent into a folder of its own and open it."""
        if uploads.package is None:
            raise ParameterError("there is no zip of a campaign here; drop one first")
        package = open_package(uploads.package.path)
        place = desk.path.resolve()
        folder = (
            place if place.is_dir() and not (place / "campaign.csv").exists() else place.parent
        ) / package.campaign.campaign
        if folder.exists():
            raise PackageError(f"{folder.name} is there already; move it away, or open it with frusta open")
        export_package(package, folder)
        (folder / "datapackage.json").unlink(missing_ok=True)
        uploads.drop()
        views.sitting.close()
        desk.switch(Path(folder))
        return {"said": f"Opened {package.campaign.title}.", "go": "/cones"}

    return routes


def _understood(views: Views, uploads: Uploads) -> dict[str, Any]:
    desk = views.desk
    told: dict[str, Any] = {
        "rows": [], "questions": 0, "ready": 0, "zip": None, "against": None, "columns": COLUMNS, "kinds": KINDS,
        "specimens": (), "sessions": (), "sweeps": (),
    }  # fmt: skip
    if uploads.package is not None:
        try:
            told["zip"] = summary_of(uploads.package)
        except FrustaError as error:
            told["against"] = problem_of(error)
            uploads.drop(uploads.package.key)
    if not desk.is_campaign:
        if uploads.sent:
            told["against"] = Problem(
                "Recordings need a campaign to go into.", "", "Begin one on the Bench; the files wait here."
            )
        return told
    package = desk.package
    told |= {"specimens": list(package.specimens), "sessions": list(package.sessions), "sweeps": list(package.sweeps)}
    try:
        planned = uploads.plan(package, desk.writable)
    except FrustaError as error:
        told["against"] = problem_of(error)
        return told
    told["rows"] = [_row(sent, item) for sent, item in planned]
    told["questions"] = sum(len(row["questions"]) for row in told["rows"])
    told["ready"] = sum(not (row["questions"] or row["problem"] or row["already"]) for row in told["rows"])
    return told


def _row(sent: Any, item: Any) -> dict[str, Any]:
    if item is None:
        return {
            "key": sent.key,
            "name": sent.name,
            "problem": sent.problem,
            "already": None,
            "cells": {},
            "why": {},
            "questions": {},
        }
    why = {}
    for text in item.understood:
        column, _, reason = text.partition(": ")
        name, _, value = column.partition(" = ")
        why[name] = reason
        if name == "rig":
            why["session"] = f"none; rig {value}: {reason}"
    return {
        "key": sent.key,
        "name": sent.name,
        "problem": "",
        "already": item.already,
        "cells": {c: item.row.get(c, "") for c in COLUMNS},
        "why": why,
        "questions": {q.column: _asked(q.column, q.text) for q in item.questions},
    }


def _asked(column: str, text: str) -> str:
    """A question with what to do where that is not plain."""
    if column == "sweep" and "rate" in text:
        return f"{text}: choose the sweep that was played at that rate, or leave the file out and export it anew"
    return text
