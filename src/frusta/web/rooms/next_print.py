"""What to print next: worked out beside the page, told with the trade-off once it is there."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Body, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from frusta.bench.planning import Scatter, make_plan, scatter_of_findings
from frusta.campaign.cone_answers import Answer
from frusta.campaign.next_file import (
    PAST,
    advantage_words,
    candidate_words,
    cost_words,
    geometry,
    narrowing_words,
    next_document,
    next_json,
    shape_words,
)
from frusta.campaign.next_print import NextPrint, next_print
from frusta.design.goal import UNITS
from frusta.design.search import Trial
from frusta.errors import FrustaError, PackageError
from frusta.publish import render
from frusta.publish.drawings.drawing import NARROW_PX
from frusta.publish.next_drawing import trade_off_of, trade_off_parts
from frusta.publish.words import NBSP, band, interval, plain, quantity
from frusta.web.goal_form import GoalAsked, goal_form
from frusta.web.views import Views
from frusta.web.works import Progress, Stopped

NEXT = "next"
TOLD, NARROWED = 5, 2
WIDE_PX = 740.0
MINUS = re.compile(r"(?<![\w.])-(?=\d)")
GUESS = Scatter(1.5, 0.4, "guessed")


@dataclass(frozen=True)
class _Done:
    """What was worked out, of which state of the campaign, and its pictures, wide and narrow."""

    digest: str
    told: NextPrint
    label: str
    pictures: tuple[Markup, ...]
    command: str


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    desk = views.desk

    @routes.get("/next/print", response_class=HTMLResponse, include_in_schema=False)
    def part(request: Request) -> HTMLResponse:
        return views.render("next_print.html", request, **next_words(views))

    @routes.post("/api/works/next/start", tags=["next cone"])
    def start(asked: Annotated[GoalAsked | None, Body()] = None) -> dict[str, Any]:
        """Work out what to print next; minutes, beside the page. Goal and limits are those of `frusta next`."""
        asked = asked or GoalAsked()
        wish = asked.wish()
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
                told = next_print(
                    known.package,
                    known.findings,
                    known.learned,
                    wish=wish,
                    cores=desk.cores,
                    stage=stage,
                    search=not asked.questions_only,
                )
            except KeyboardInterrupt:
                raise Stopped from None
            return _drawn(known.digest, told, known.package, asked.command(desk.path.name))

        desk.works.start(NEXT, "What to print next", do, asked)
        return {"said": "", "refresh": True}

    @routes.get("/api/next", tags=["next cone"])
    def document() -> Response:
        """Return what to print next as `frusta next --json` writes it."""
        work = desk.works.get(NEXT)
        if work is None or not isinstance(work.result, _Done):
            raise PackageError("the next print must be worked out first (it is not); start it in the room Next cone")
        return Response(next_json(next_document(work.result.told)), media_type="application/json")

    return routes


def _drawn(digest: str, told: NextPrint, package: Any, command: str) -> _Done:
    pairs = trade_off_parts(told)
    if not pairs:
        return _Done(digest, told, "", (), command)
    specs = [trade_off_of(told, package, pairs[0], total_width=width) for width in (WIDE_PX, float(NARROW_PX))]
    label = f"What {pairs[0][0]} costs of {pairs[0][1]}, every cone that was tried"
    svgs = [
        Markup(render.inline_svg(render.raw_svg(spec), label=label, key=key))
        for spec, key in zip(specs, ("trade-off", "trade-off-slim"), strict=True)
    ]
    return _Done(digest, told, label, tuple(svgs), command)


def next_words(views: Views) -> dict[str, Any]:
    """Return what the section about the next print shows."""
    desk = views.desk
    work = desk.works.get(NEXT)
    known = desk.look()
    asked = None if work is None else work.asked
    words: dict[str, Any] = {
        "next_work": work,
        "can_start": known is not None,
        "next_told": None,
        "plan": [],
        "goal": goal_form(desk.package, asked),
    }
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
        "nothing": _sentence(
            told.reasons.get("suggestions", "one more print, seating or coupon would narrow nothing open")
        ).replace("--questions-only", "“Only what would tell most”"),
        "band": None if goal is None else band(*goal.band_hz),
        "answers": [_answer(told, a) for a in told.answers],
        "table": _table(told),
        "no_answer": _sentence(told.reasons.get("answers", "")) if "answers" in told.reasons else "",
        "pictures": done.pictures,
        "label": done.label,
        "said": [_sentence(line) for line in told.said],
        "command": done.command,
    }
    return words


def _answer(told: NextPrint, answer: Answer) -> tuple[str, str, str, str]:
    """What it is best at, its shape, how probably it is better than the best there is, and its place on the sliders."""
    trial = answer.trial
    shape = geometry(trial.profile)
    sliders = {name: shape[name] for name in ("neck_radius_mm", "rim_radius_mm", "depth_mm", "bow_mm", "wall_mm")}
    return (
        f"{told.names.get(trial.key, trial.key)}: {answer.label}",
        _sentence(shape_words(trial.profile)),
        _sentence(advantage_words(answer, told)) if answer.over_best is not None and told.existing else "",
        urlencode({"group": trial.key, **sliders}),
    )


def _table(told: NextPrint) -> tuple[list[str], list[list[str]]]:
    """Answers and the best cone there is side by side, figure by figure, as the terminal's table has them."""
    goal = told.goal
    if goal is None or not told.answers:
        return [], []
    rows = []
    for number, a in enumerate(told.answers, 1):
        ends = a.figures_95 or {}
        score = plain(a.trial.score, 1)
        if a.score_95 is not None:
            score += f" ({plain(a.score_95[0], 1)} to {plain(a.score_95[1], 1)})"
        name = f"{number}, {told.names.get(a.trial.key, a.trial.key)}"
        rows.append([name, score, *(_cell(a.trial, part, told, ends.get(part)) for part in goal.used)])
    if told.existing:
        best = told.existing[0]
        name = f"best now: {told.names.get(best.group, best.group)} in {best.profile_key}"
        rows.append([name, plain(best.trial.score, 1), *(_cell(best.trial, part, told, None) for part in goal.used)])
    return [
        "Cone",
        "Points (95 %)",
        *(f"{part.capitalize()}, counts {goal.weights[part]:g}" for part in goal.used),
    ], rows


def _cell(trial: Trial, part: str, told: NextPrint, ends: tuple[float, float] | None) -> str:
    value, unit = trial.figures[part], UNITS[part]
    if unit == "Hz" and told.sweep_end_hz is not None and value >= PAST * told.sweep_end_hz:
        return f"over {quantity(value, unit)}, where the sweep ends"
    text = ("±\u00a0" if part == "evenness" else "") + quantity(value, unit)
    return text if ends is None else f"{text} ({interval(*ends, unit, value=value)})"


def _sentence(text: str) -> str:
    text = MINUS.sub("\u2212", text)
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
