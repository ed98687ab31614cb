"""What all rooms share: the templates, the campaign's head line, glyphs, and the desk."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from frusta.campaign.rows import Profile
from frusta.publish.groups import glyph_points
from frusta.publish.words import NBSP, count, plain, quantity
from frusta.web.access import Access
from frusta.web.desk import READING, Desk
from frusta.web.forecaster import Forecaster
from frusta.web.problems import Problem
from frusta.web.sitting import Sitting

ROOMS = (
    ("bench", "Bench"),
    ("cones", "Cones"),
    ("differences", "Differences"),
    ("next", "Next cone"),
    ("report", "Report"),
)
PLAIN = Profile(
    profile="plain", shape="straight", neck_radius_mm=15, rim_radius_mm=55, depth_mm=32, bow_mm=0, wall_mm=0.8
)


class Views:
    """Templates and desk, handed to every room.

    Parameters
    ----------
    desk : Desk
    access : Access
    """

    def __init__(self, desk: Desk, access: Access) -> None:
        self.desk = desk
        self.access = access
        self.sitting = Sitting(desk)
        self.forecaster = Forecaster()
        self._templates = Environment(
            loader=PackageLoader("frusta.web", "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.globals.update(glyph=glyph, tick=TICK, bang=BANG, quantity=quantity, plain=plain, nbsp=NBSP)

    def render(self, template: str, request: Request, **values: Any) -> HTMLResponse:
        """Return a fragment."""
        base = str(request.scope["root_path"])
        html = self._templates.get_template(template).render(base=base, **values)
        return HTMLResponse(html)

    def page(self, template: str, request: Request, room: str, title: str, **values: Any) -> HTMLResponse:
        """Return a room's page."""
        return self.render(template, request, room=room, rooms=ROOMS, page_title=title, **self._head(), **values)

    def problem_page(self, request: Request, problem: Problem, status: int) -> HTMLResponse:
        """Return a page that tells a problem; its faults if tables have any."""
        page = self.page("problem.html", request, "", problem.what, problem=problem)
        page.status_code = status
        return page

    def _head(self) -> Mapping[str, Any]:
        """The head line: title, and where it stands."""
        desk = self.desk
        head: dict[str, Any] = {
            "campaign_title": "A new campaign",
            "campaign_says": "nothing opened yet",
            "word": self.access.word,
            "at_bench": desk.at_bench,
        }
        if not desk.is_campaign:
            return head
        try:
            package = desk.package
        except Exception as error:  # the head must not hide the problem that the page is to tell
            head["campaign_says"] = str(error)[:120]
            return head
        cones = sum(s.kind == "cone" for s in package.specimens.values())
        head["campaign_title"] = package.campaign.title
        head["campaign_says"] = (
            f"campaign {package.campaign.campaign}, {count(cones, 'cone')}, {count(len(package.takes), 'take')}"
        )
        return head

    def reading_work(self) -> dict[str, Any]:
        """How far the reading of takes is, for the strip at the top of a room."""
        work = self.desk.works.get(READING)
        return {
            "work": work,
            "left": None if work is None else _left_words(work.seconds_left),
            "stale": self.desk.is_stale(),
            "takes": len(self.desk.package.takes),
        }


def glyph(profile: Profile | None, width: int = 64, height: int = 32) -> Markup:
    """Return a cone's section as a small picture."""
    points = glyph_points(profile or PLAIN, width, height)
    box = f"0 0 {width} {height}"
    return Markup(
        f'<svg class="glyph" viewBox="{box}" width="{width}" height="{height}" aria-hidden="true">'
        f'<polyline points="{escape(points[0])}"/><polyline points="{escape(points[1])}"/>'
        f'<path d="{escape(points[2])}"/></svg>'
    )


TICK = Markup('<svg class="tick" viewBox="0 0 20 20" aria-hidden="true"><path d="M3 11l5 5 9-12"/></svg>')
BANG = Markup(
    '<svg class="bang" viewBox="0 0 20 20" aria-hidden="true"><path d="M10 1l9.5 17H.5z" fill="currentColor"/>'
    '<path d="M10 7v5.5M10 14.6v1.6" stroke="var(--card)" stroke-width="2.2" fill="none"/></svg>'
)


def _left_words(seconds: float | None) -> str:
    if seconds is None:
        return ""
    if seconds < 50:
        return f"about {max(5, 5 * math.ceil(seconds / 5))}{NBSP}s left"
    return f"about {math.ceil(seconds / 60)}{NBSP}min left"
