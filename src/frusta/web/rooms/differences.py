"""Differences: a figure print by print, the sentence, the curves, and what stays put."""

from __future__ import annotations

from typing import Annotated, Any, cast

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from frusta.campaign.analysis import Analysis
from frusta.campaign.stays_put import StaysRow, stays_of_campaign
from frusta.errors import ParameterError
from frusta.publish.drawings.strips import STRIPS, strip_drawings
from frusta.publish.groups import Groups, profile_name
from frusta.publish.prints import profiles_of
from frusta.publish.verdict import band_sentences, extremes_sentence, is_clear, opening
from frusta.publish.words import NBSP, plain
from frusta.web.chosen_curves import chosen_of, curve_drawings, of_several_shapes, zoom_of
from frusta.web.drawn import drawn
from frusta.web.kept_analysis import Known
from frusta.web.views import Views

Cones = Annotated[list[str] | None, Query()]
Ends = Annotated[str, Query(max_length=20)]


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    desk = views.desk
    stays: dict[str, tuple[StaysRow, ...]] = {}

    @routes.get("/differences", response_class=HTMLResponse, include_in_schema=False)
    def room(
        request: Request,
        figure: str = "breakup_hz",
        shape: str = "",
        cone: Cones = None,
        low_hz: Ends = "",
        high_hz: Ends = "",
    ) -> HTMLResponse:
        if not desk.is_campaign:
            return views.page("empty.html", request, "differences", "Differences", says="Nothing to compare yet.")
        known = desk.ensure_read()
        told = {"faults": desk.opened.faults, "editable": (), **views.reading_work()}
        if known is None or not known.findings.readings:
            says = "The takes are being read." if desk.package.takes else "No take yet, so nothing to compare."
            if desk.opened.faults:
                says = "Faults in the tables keep the figures back."
            return views.page("waiting.html", request, "differences", "Differences", says=says, **told)
        groups = Groups(known.findings.readings, known.package)
        verdict, under = opening(known.findings, known.package, groups)
        return views.page(
            "differences.html",
            request,
            "differences",
            "Differences",
            verdict=verdict,
            under=under,
            chosen=cone or [],
            zoom=zoom_of(low_hz, high_hz),
            specimens=_choosable(known),
            **_figure(views, known, groups, figure),
            **_shape(known, shape),
            **told,
        )

    @routes.get("/differences/figure", response_class=HTMLResponse, include_in_schema=False)
    def figure_part(request: Request, figure: str = "breakup_hz") -> HTMLResponse:
        known = _known(desk.look())
        groups = Groups(known.findings.readings, known.package)
        return views.render("differences_figure.html", request, **_figure(views, known, groups, figure))

    @routes.get("/differences/curves", response_class=HTMLResponse, include_in_schema=False)
    def curves(
        request: Request,
        shape: str = "",
        cone: Cones = None,
        low_hz: Ends = "",
        high_hz: Ends = "",
    ) -> HTMLResponse:
        known = _known(desk.look())
        groups = Groups(known.findings.readings, known.package)
        zoom = zoom_of(low_hz, high_hz)
        shown = chosen_of(known, groups, cone or [], shape)
        parts = [drawn(desk, d, shape, *(cone or []), str(zoom)) for d in curve_drawings(known, shown, zoom)]
        says = [] if cone else _says(known, groups, shape)
        return views.render(
            "differences_curves.html", request, parts=parts, zoom=zoom, says=says, mixed=of_several_shapes(shown)
        )

    @routes.get("/differences/stays", response_class=HTMLResponse, include_in_schema=False)
    def stays_part(request: Request) -> HTMLResponse:
        known = _known(desk.look())
        if known.digest not in stays:
            stays.clear()
            stays[known.digest] = stays_of_campaign(cast("Analysis", known))
        found = stays[known.digest]
        shapes = []
        for profile in dict.fromkeys(row.profile for row in found):
            own = [row for row in found if row.profile == profile]
            tall = sorted(own, key=lambda row: -row.prominence_db)
            shapes.append(
                {
                    "name": profile_name(profile, known.package),
                    "stays": [row for row in tall if row.verdict == "stays"],
                    "moves": [row for row in tall if row.verdict == "moves"],
                    "unclear": [row for row in tall if row.verdict == "unclear"],
                }
            )
        return views.render("differences_stays.html", request, shapes=shapes, blips=_blips(known))

    @routes.get("/api/curves/{take}", tags=["differences"])
    def take_curves(take: str) -> dict[str, Any]:
        """Return the curves of a take: columns as in ``curves/TAKE.csv``, null where there is nothing."""
        known = _known(desk.look())
        if take not in known.curves:
            raise ParameterError(f"take must be one that was read (got {take[:64]!r}); see /api/findings")
        table = known.curves[take].table
        return {name: [round(v, 4) if v == v else None for v in col.tolist()] for name, col in table.items()}

    @routes.get("/api/differences", tags=["differences"])
    def differences(figure: str = "breakup_hz") -> list[dict[str, Any]]:
        """Return the comparisons by one figure."""
        known = _known(desk.look())
        return [d.model_dump() for d in known.findings.differences if d.figure == figure]

    return routes


def _known(known: Known | None) -> Known:
    if known is None:
        raise ParameterError("the takes must have been read first (they are not); wait until they are")
    return known


def _figure(views: Views, known: Known, groups: Groups, figure: str) -> dict[str, Any]:
    """One figure: the strips, the sentences, where its scatter comes from."""
    strip = next((s for s in STRIPS if s.key == figure), STRIPS[0])
    panels = strip_drawings(known.findings, known.package, groups, strip)
    rows = [d for d in known.findings.differences if d.figure == strip.key]
    by_shape: dict[str, list[tuple[str, str]]] = {}
    for d in rows:
        word = "clear" if is_clear(d) else ("tie" if d.low_95 is not None else "no interval")
        by_shape.setdefault(profile_name(d.profile, known.package), []).append((word, _sentence(d.verdict)))
    scatter = [
        (profile_name(p, known.package), _percent(d.sd_print), _percent(d.sd_seating))
        for p, d in {d.profile: d for d in reversed(rows)}.items()
        if d.sd_print is not None or d.sd_seating is not None
    ]
    return {
        "figures": STRIPS,
        "figure": strip,
        "panels": [drawn(views.desk, d) for d in panels],
        "sentences": by_shape,
        "scatter": scatter[::-1],
    }


def _says(known: Known, groups: Groups, shape: str) -> list[str]:
    """What the curves of a shape say, in sentences."""
    lines = band_sentences(known.findings, known.package, groups, shape)
    lines += extremes_sentence(known.findings, groups, "unevenness_common_db", shape, lowest_first=True)
    lines += extremes_sentence(known.findings, groups, "decay_2_percent_ms", shape)
    return [_sentence(line) for line in lines]


def _shape(known: Known, shape: str) -> dict[str, Any]:
    profiles = profiles_of(known.findings, known.package)
    return {
        "shapes": [(p, profile_name(p, known.package)) for p in profiles],
        "shape": shape if shape in profiles else (profiles[0] if profiles else ""),
    }


def _choosable(known: Known) -> list[str]:
    read = {r.specimen for r in known.findings.readings if r.take in known.curves}
    return [*(key for key in known.package.specimens if key in read), *sorted(read - set(known.package.specimens))]


def _blips(known: Known) -> list[tuple[str, str, str]]:
    """Narrow features that are not explained: where, what it may be, the test; the tallest of each specimen."""
    found: dict[str, tuple[float, tuple[str, str, str]]] = {}
    specimen_of = {r.take: r.specimen for r in known.findings.readings if r.quality != "repeat"}
    for blip in known.findings.blips:
        specimen = specimen_of.get(blip.take)
        if specimen is None or not blip.candidates or blip.harmonic is not None:
            continue
        where = f"{blip.frequency_hz:.0f}{NBSP}Hz in {specimen}"
        words = (where, " or ".join(blip.candidates), _sentence(blip.test or "no test is known"))
        if specimen not in found or abs(blip.height_db) > found[specimen][0]:
            found[specimen] = (abs(blip.height_db), words)
    ranked = sorted(found.values(), key=lambda f: -f[0])
    return [words for _, words in ranked[:6]]


def _percent(sd: float | None) -> str:
    return "not known" if sd is None else f"{plain(100 * sd, 2 if sd < 0.00095 else 1)}{NBSP}%"


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."
