"""Report: the published page, previewed; what goes in; the licence; to the folder."""

from __future__ import annotations

import re
import shutil
import tempfile
import weakref
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import FileResponse, HTMLResponse, Response

from frusta.campaign.photos import photo_names
from frusta.campaign.rows import Campaign
from frusta.errors import ParameterError
from frusta.publish.report import PAGE, SECTIONS, publish
from frusta.publish.words import NBSP, count, plain
from frusta.web.kept_analysis import Known
from frusta.web.problems import a_file
from frusta.web.rooms.campaign import fields_of
from frusta.web.views import Views
from frusta.web.works import Progress

LICENCES = ("CC0-1.0", "CC-BY-4.0", "CC-BY-SA-4.0", "CC-BY-NC-4.0")
REPORT, PUBLISH = "preview", "publish"
_POLICY = re.compile(r'http-equiv="Content-Security-Policy" content="([^"]+)"')


@dataclass
class Choice:
    """What was chosen last to go in, so that the form still shows it."""

    leave_out: tuple[str, ...] = ()
    private: bool = False
    slides: bool = False


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    desk = views.desk
    place = Path(tempfile.mkdtemp(prefix="frusta-preview-"))
    weakref.finalize(views, shutil.rmtree, place, ignore_errors=True)
    wish = Choice()
    drawn: list[tuple[str, tuple[str, ...]]] = []

    def preview() -> None:
        """Draw what is chosen now; what is being drawn otherwise is given up."""
        known, leave_out = _known(views), wish.leave_out
        old = desk.works.get(REPORT)
        if old is not None and old.standing == "running":
            old.stopping.set()
            if old.thread is not None:
                old.thread.join()

        def draw(progress: Progress) -> None:
            shutil.rmtree(place / "report", ignore_errors=True)
            publish(known, known.package, place / "report", progress=progress, leave_out=leave_out)
            drawn[:] = [(known.digest, leave_out)]

        desk.works.start(REPORT, "Drawing the report", draw)

    @routes.get("/report", response_class=HTMLResponse, include_in_schema=False)
    def room(request: Request) -> HTMLResponse:
        if not desk.is_campaign:
            return views.page("empty.html", request, "report", "Report", says="Nothing to publish yet.")
        known = desk.ensure_read()
        told = {
            "faults": desk.opened.faults,
            "editable": ("specimens", "materials", "profiles", "recipes", "rigs", "sessions", "history", "campaign"),
            **views.reading_work(),
        }
        if known is None or not known.findings.readings:
            says = "The takes are being read." if desk.package.takes else "No take yet, so nothing to publish."
            if desk.opened.faults:
                says = _faults_say(len(desk.opened.faults))
            return views.page("waiting.html", request, "report", "Report", says=says, **told)
        work = desk.works.get(REPORT)
        if drawn != [(known.digest, wish.leave_out)] and (work is None or work.standing == "done"):
            preview()
        checks = _checks(views, known)
        missing = sum(not good for good, *_ in checks)
        says = "Ready to publish." if not missing else f"Ready to publish, but for {count(missing, 'gap')}."
        if not checks[0][0]:
            says = "No take counts yet, so there is little to publish."
        return views.page(
            "report.html",
            request,
            "report",
            "Report",
            says=says,
            checks=checks,
            sections=SECTIONS,
            wish=wish,
            licences=LICENCES,
            licence=desk.package.campaign.licence or "",
            campaign=desk.package.campaign,
            notes=desk.package.campaign.notes or "",
            fields=fields_of(views, Campaign, desk.package.campaign),
            target=_target(views).name,
            **_drawing(views, place),
            **told,
        )

    @routes.get("/report/work", response_class=HTMLResponse, include_in_schema=False)
    def working(request: Request) -> HTMLResponse:
        return views.render("report_preview.html", request, **_drawing(views, place))

    @routes.get("/report/published", response_class=HTMLResponse, include_in_schema=False)
    def published(request: Request) -> HTMLResponse:
        return views.render("report_published.html", request, out=desk.works.get(PUBLISH), target=_target(views).name)

    @routes.get("/report/page", include_in_schema=False)
    def page() -> Response:
        file = place / "report" / PAGE
        if not file.exists():
            raise ParameterError("the report must have been drawn first (it has not); wait for it")
        text = file.read_text("utf-8")
        policy = _POLICY.search(text)
        strict = (
            policy[1].replace("&#39;", "'").replace("&#x27;", "'") if policy else "default-src 'none'"
        ) + "; frame-ancestors 'self'"
        return Response(
            text,
            media_type="text/html; charset=utf-8",
            headers={"content-security-policy": strict, "x-frame-options": "SAMEORIGIN"},
        )

    @routes.post("/api/report/preview", tags=["report"])
    def draw_anew(leave_out: Annotated[list[str] | None, Body(embed=True)] = None) -> dict[str, Any]:
        """Draw the report anew, without the sections named."""
        _known(views)
        wish.leave_out = tuple(name for name in SECTIONS if name in (leave_out or ()))
        preview()
        return {"said": ""}

    @routes.post("/api/report", tags=["report"])
    def write(
        private: Annotated[bool | str, Body()] = False,
        slides: Annotated[bool | str, Body()] = False,
        leave_out: Annotated[list[str] | None, Body()] = None,
    ) -> dict[str, Any]:
        """Publish to the folder beside the campaign: page, figures, tables, package."""
        known = _known(views)
        wish.leave_out = wanted = tuple(name for name in SECTIONS if name in (leave_out or ()))
        wish.private, wish.slides = (told in (True, "on") for told in (private, slides))
        target = _target(views)
        full, large = wish.private, wish.slides

        def do(progress: Progress) -> str:
            publish(
                known, known.package, target, progress=progress, leave_out=wanted, private=full, slides=large
            )  # fmt: skip
            return target.name

        desk.works.start(PUBLISH, "Publishing", do)
        return {"said": "Publishing."}

    @routes.get(
        "/api/report/package.zip", tags=["report"], responses=a_file("application/zip"), response_class=FileResponse
    )
    def package_zip() -> FileResponse:
        """Return the package that lies beside the previewed page."""
        file = place / "report" / f"{_known(views).package.campaign.campaign}.zip"
        if not file.exists():
            raise ParameterError("the report must have been drawn first (it has not); wait for it")
        return FileResponse(file, media_type="application/zip", filename=file.name)

    return routes


def _known(views: Views) -> Known:
    known = views.desk.look()
    if known is None:
        raise ParameterError("the takes must have been read first (they are not); wait until they are")
    return known


def _faults_say(number: int) -> str:
    return f"{count(number, 'fault').capitalize()} keep{'s' if number == 1 else ''} the figures back."


def _target(views: Views) -> Path:
    """Where a report goes: beside the campaign, never where a client says."""
    path = views.desk.path.resolve()
    return path.parent / f"{views.desk.package.campaign.campaign}-report"


def _drawing(views: Views, place: Path) -> dict[str, Any]:
    work = views.desk.works.get(REPORT)
    return {
        "drawing": work if work is not None and work.standing == "running" else None,
        "failed": work.problem if work is not None else None,
        "there": (place / "report" / PAGE).exists(),
        "stamp": 0 if work is None else int(work.began_s),
        "out": views.desk.works.get(PUBLISH),
    }


def _spoiled(spoiled: int, takes: int) -> str:
    if spoiled == 0:
        return "Every take counts." if takes else "There is no take yet."
    verb = "does" if spoiled == 1 else "do"
    return f"{spoiled} of {takes} take{'s' if takes != 1 else ''} {verb} not count; the page says why."


def _checks(views: Views, known: Known) -> list[tuple[bool, str, str, str]]:
    """What to look at before it goes out: whether it is well, its name, the words, where to mend it."""
    package = known.package
    readings = known.findings.readings
    spoiled = sum(r.quality == "repeat" for r in readings)
    cones = len({r.specimen for r in readings if r.kind == "cone" and r.quality != "repeat"})
    checks = [
        (
            cones > 0,
            "Takes",
            f"{count(cones, 'cone').capitalize()} with takes that count. {_spoiled(spoiled, len(readings))}",
            "",
        )
    ]
    heard = [r for r in readings if r.kind == "check" and r.quality != "repeat" and r.level_db is not None]
    if len(heard) > 1:
        levels = [r.level_db for r in heard if r.level_db is not None]
        checks.append((True, "Rig", f"The check cone stays within {plain(max(levels) - min(levels), 2)}{NBSP}dB.", ""))
    else:
        checks.append((False, "Rig", "No check cone was heard twice: drift of the rig cannot be told.", ""))
    calibrated = any(r.microphone_calibration for r in package.rigs.values())
    checks.append(
        (True, "Microphone", "Its calibration file is in the package.", "")
        if calibrated
        else (
            False,
            "Microphone",
            "No calibration file. Levels will say “as the microphone reads them”.",
            "/tables/rigs",
        )
    )
    checks.append(
        (True, "Licence", f"{package.campaign.licence}.", "")
        if package.campaign.licence
        else (False, "Licence", "Without one nobody may reuse your recordings. Choose one below.", "")
    )
    notes = sum(
        1
        for name in ("specimens", "sessions", "takes", "materials", "recipes", "rigs")
        for row in package.rows(name)
        if getattr(row, "notes", None)
    )
    out = "they stay out unless you choose the full package."
    if notes:
        checks.append((True, "Notes", f"{count(notes, 'row').capitalize()} with notes; {out}", ""))
    photos = len(photo_names(package))
    if photos:
        checks.append(
            (True, "Photos", f"{count(photos, 'photo').capitalize()}; {out} Place and time are not in it.", "")
        )
    return checks
