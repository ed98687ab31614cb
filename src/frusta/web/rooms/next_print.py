"""What to print next: worked out beside the page, told with the trade-off once it is there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from frusta.bench.planning import Scatter, make_plan, scatter_of_findings
from frusta.campaign.next_file import (
    advantage_words,
    candidate_words,
    cost_words,
    narrowing_words,
    next_document,
    next_json,
    shape_words,
)
from frusta.campaign.next_print import NextPrint, next_print
from frusta.errors import FrustaError, PackageError
from frusta.publish import render
from frusta.publish.drawings.drawing import NARROW_PX
from frusta.publish.next_drawing import trade_off_of, trade_off_parts
from frusta.publish.words import NBSP, plain
from frusta.web.views import Views
from frusta.web.works import Progress, Stopped

NEXT = "next"
TOLD, NARROWED = 5, 2
WIDE_PX = 740.0
GUESS = Scatter(1.5, 0.4, "guessed")


@dataclass(frozen=True)
class _Done:
    """What was worked out, of which state of the campaign, and its pictures, wide and narrow."""

    digest: str
    told: NextPrint
    label: str
    pictures: tuple[Markup, ...]


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    desk = views.desk

    @routes.get("/next/print", response_class=HTMLResponse, include_in_schema=False)
    def part(request: Request) -> HTMLResponse:
        return views.render("next_print.html", request, **next_words(views))

    @routes.post("/api/works/next/start", tags=["next cone"])
    def start() -> dict[str, Any]:
        """Work out what to print next; minutes, beside the page."""
        known = desk.look()
        if known is None:
            raise PackageError("the takes must be read before the next print can be told (none is read); read them")

        def do(progress: Progress) -> _Done:
            def shown(done: int, total: int) -> None:
                try:
                    progress(done, total)
                except Stopped:
                    raise KeyboardInterrupt from None  # the search then tells what was found until now

            def stage(title: str) -> Callable[[int, int], None]:
                work = desk.works.get(NEXT)
                if work is not None:
                    work.title = title
                return shown

            try:
                told = next_print(known.package, known.findings, known.learned, cores=desk.cores, stage=stage)
            except KeyboardInterrupt:
                raise Stopped from None
            return _drawn(known.digest, told, known.package)

        desk.works.start(NEXT, "What to print next", do)
        return {"said": "", "refresh": True}

    @routes.get("/api/next", tags=["next cone"])
    def document() -> Response:
        """Return what to print next as `frusta next --json` writes it."""
        work = desk.works.get(NEXT)
        if work is None or not isinstance(work.result, _Done):
            raise PackageError("the next print must be worked out first (it is not); start it in the room Next cone")
        return Response(next_json(next_document(work.result.told)), media_type="application/json")

    return routes


def _drawn(digest: str, told: NextPrint, package: Any) -> _Done:
    pairs = trade_off_parts(told)
    if not pairs:
        return _Done(digest, told, "", ())
    specs = [trade_off_of(told, package, pairs[0], total_width=width) for width in (WIDE_PX, float(NARROW_PX))]
    label = f"What {pairs[0][0]} costs of {pairs[0][1]}, every cone that was tried"
    svgs = [
        Markup(render.inline_svg(render.raw_svg(spec), label=label, key=key))
        for spec, key in zip(specs, ("trade-off", "trade-off-slim"), strict=True)
    ]
    return _Done(digest, told, label, tuple(svgs))


def next_words(views: Views) -> dict[str, Any]:
    """Return what the section about the next print shows."""
    desk = views.desk
    work = desk.works.get(NEXT)
    known = desk.look()
    words: dict[str, Any] = {"next_work": work, "can_start": known is not None, "next_told": None, "plan": []}
    if work is None or not isinstance(work.result, _Done):
        words["plan"] = _plan(views)
        return words
    done, told = work.result, work.result.told
    telling = [s for s in told.suggestions if s.narrows][:TOLD]
    goal = told.goal
    words["next_told"] = {
        "stale": known is None or known.digest != done.digest,
        "stopped": told.stopped,
        "suggestions": [
            (
                _sentence(candidate_words(s, told.names)),
                cost_words(s),
                [_sentence(narrowing_words(n)) for n in s.narrows[:NARROWED]],
            )
            for s in telling
        ],
        "nothing": told.reasons.get("suggestions", "One more print, seating or coupon would narrow nothing open."),
        "band": None if goal is None else f"{goal.band_hz[0]:g} to {goal.band_hz[1]:g} Hz",
        "answers": [
            (
                f"{told.names.get(a.trial.key, a.trial.key)}: {a.label}",
                _sentence(shape_words(a.trial.profile)),
                _sentence(advantage_words(a, told)) if a.over_best is not None and told.existing else "",
            )
            for a in told.answers
        ],
        "no_answer": _sentence(told.reasons.get("answers", "")) if "answers" in told.reasons else "",
        "pictures": done.pictures,
        "label": done.label,
        "said": [_sentence(line) for line in told.said],
    }
    return words


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def _plan(views: Views) -> list[str]:
    """What to print next until it is worked out: as the plan of the campaign has it."""
    package = views.desk.package
    known = views.desk.look()
    scatter = (scatter_of_findings(known.findings) if known else None) or GUESS
    try:
        plan = make_plan(package, scatter, difference_percent=3.0)
    except FrustaError as error:
        return [_sentence(str(error))]
    lines = [
        f"Print {missing} more of {name.replace('/', ', ')}, to show a difference of 3{NBSP}% in break-up."
        for name, missing in plan.to_print.items()
        if missing
    ]
    lines += [
        f"In {profile} the prints there are show differences from {plain(gap, 1)}{NBSP}% up."
        for profile, gap in plan.gaps
    ]
    if known:
        lines += [
            f"A stick of {e.material}, printed upright and tapped, would pin its stiffness across layers: now assumed."
            for e in known.findings.estimates
            if "axial_modulus" in e.assumed
        ]
    return lines[:6]
