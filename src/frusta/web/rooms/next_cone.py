"""Next cone: shape, wall and material on sliders, the forecast with its band, printability, the file to print."""

from __future__ import annotations

import math
from collections import OrderedDict
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from frusta.campaign.forecast_file import forecast_document
from frusta.campaign.forecasting import ForecastInputs, drawn_profile, forecast_inputs
from frusta.campaign.heat import heat_document
from frusta.campaign.rows import Profile
from frusta.cone.profile import ConeProfile
from frusta.design.forecast import FULL, QUICK, Forecast
from frusta.design.print_bodies import cone_body
from frusta.design.print_file import print_file
from frusta.design.printability import OverhangLimit
from frusta.errors import FrustaError, ParameterError
from frusta.material.learned import Learned
from frusta.publish import facts
from frusta.publish.charts import Curve
from frusta.publish.charts.forecast import forecast_chart
from frusta.publish.direct_svg import chart_svg
from frusta.publish.drawings.drawing import NARROW_PX
from frusta.publish.groups import Groups
from frusta.publish.theme import Style
from frusta.publish.words import NBSP, interval, quantity
from frusta.web.drawn import Drawn, safe_json, series_of
from frusta.web.heat_words import HeatAsked, heat_told, neck_heat_of
from frusta.web.plus_minus import plus_minus
from frusta.web.problems import a_file
from frusta.web.rooms.next_print import next_words
from frusta.web.rooms.next_print import router as next_print_router
from frusta.web.section_drawing import section_svg
from frusta.web.views import Views

WIDE, SLIM = (740.0, "forecast"), (float(NARROW_PX), "forecast-slim")
MOST_HELD = 12
SLIDERS = (
    ("neck_radius_mm", "Radius of the neck, mm", 3.0, 60.0, 0.5),
    ("rim_radius_mm", "Radius of the rim, mm", 10.0, 160.0, 0.5),
    ("depth_mm", "Depth, mm", 0.0, 100.0, 0.5),
    ("bow_mm", "Bow, mm; below 0 is concave", -12.0, 12.0, 0.1),
    ("wall_mm", "Wall, mm", 0.3, 3.0, 0.05),
)
BELLS = {1: "rocking", 2: "oval", 3: "three lobes", 4: "four lobes"}
"""Shapes of a rim by circumferential order, neck held."""
NAMES = tuple(name for name, *_ in SLIDERS)
Group = Annotated[str, Query(max_length=140)]
Cell = Annotated[str, Query(max_length=20)]
Length = Annotated[float, Query(ge=-1000.0, le=1000.0, allow_inf_nan=False)]
HEAT_FIELDS = (
    ("thermal_k_w", "From coil to room, K/W", "if you know it"),
    ("hot_ohm", "or measured: hot coil, ohm", "once it no longer rises"),
    ("hot_w", "at a power of, W", "current squared times hot ohm"),
    ("room_c", "Where it will play, °C", "20 to 35 if empty"),
)
"""What narrows the heat that a neck bears."""


@dataclass(frozen=True)
class Wish:
    """What the sliders say."""

    group: str
    base: str
    neck_radius_mm: float
    rim_radius_mm: float
    depth_mm: float
    bow_mm: float
    wall_mm: float

    def row(self, package: Any) -> Profile:
        """Return it as a row of profiles.csv; the wall rule and the cap are those of the profile it began with."""
        held = package.profiles.get(self.base)
        shape = "straight" if self.bow_mm == 0 else ("convex" if self.bow_mm > 0 else "concave")
        return Profile.model_validate(
            {
                "profile": "new",
                "shape": shape,
                **{name: getattr(self, name) for name, *_ in SLIDERS},
                "wall_rule": held.wall_rule if held else None,
                "cap": held.cap if held else None,
            }
        )


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    routes.include_router(next_print_router(views))
    desk = views.desk
    held: OrderedDict[tuple[Any, ...], ForecastInputs] = OrderedDict()

    def wish(
        group: Group = "",
        base: Group = "",
        neck_radius_mm: Length = 15.0,
        rim_radius_mm: Length = 50.0,
        depth_mm: Length = 30.0,
        bow_mm: Length = 0.0,
        wall_mm: Length = 0.8,
    ) -> Wish:
        return Wish(group, base, neck_radius_mm, rim_radius_mm, depth_mm, bow_mm, wall_mm)

    def inputs_of(asked: Wish) -> ForecastInputs:
        """What a forecast takes beside the shape, kept as long as tables and takes stay what they are."""
        package, known = desk.package, desk.look()
        base = package.profiles.get(asked.base)
        unchanged = base is not None and all(getattr(base, n) == getattr(asked, n) for n in NAMES)
        profile_key = asked.base if unchanged else None
        key = (desk.opened.stamp, known.digest if known else "", asked.group, profile_key)
        if key not in held:
            material, _, recipe = asked.group.partition("/")
            held[key] = forecast_inputs(
                package,
                material,
                recipe=recipe or None,
                profile_key=profile_key,
                learned=known.learned if known else Learned(),
            )
            while len(held) > MOST_HELD:
                held.popitem(last=False)
        return held[key]

    @routes.get("/next", response_class=HTMLResponse, include_in_schema=False)
    def room(
        request: Request, base: Group = "", group: Group = "", neck_radius_mm: Cell = "", rim_radius_mm: Cell = "",
        depth_mm: Cell = "", bow_mm: Cell = "", wall_mm: Cell = "", thermal_k_w: Cell = "", hot_ohm: Cell = "",
        hot_w: Cell = "", room_c: Cell = "",
    ) -> HTMLResponse:  # fmt: skip
        if not desk.is_campaign:
            return views.page("empty.html", request, "next", "Next cone", says="Nothing to design from yet.")
        package = desk.package
        desk.ensure_read()
        views.forecaster.warm()
        groups = [
            (g.material + (f"/{g.recipe}" if g.recipe else ""), g.name) for g in Groups((), package).all if g.material
        ] or [(m.material, m.name) for m in package.materials.values()]
        profile = package.profiles.get(base) or next(iter(package.profiles.values()), None)
        if not groups or profile is None or desk.opened.faults:
            says = "A material and a profile are needed first."
            return views.page(
                "waiting.html", request, "next", "Next cone", says=says, faults=desk.opened.faults, editable=(),
                **views.reading_work(),
            )  # fmt: skip
        given = dict(zip(NAMES, (neck_radius_mm, rim_radius_mm, depth_mm, bow_mm, wall_mm), strict=True))
        warm = HeatAsked(thermal_k_w, hot_ohm, hot_w, room_c)
        return views.page(
            "next.html",
            request,
            "next",
            "Next cone",
            groups=groups,
            group=group if group in dict(groups) else groups[0][0],
            bases=list(package.profiles),
            base_profile=profile,
            sliders=[
                (n, words, *_ends(low, high, getattr(profile, n)), step, _given(given[n], getattr(profile, n)))
                for n, words, low, high, step in SLIDERS
            ],
            heat_fields=[(name, label, hint, getattr(warm, name)) for name, label, hint in HEAT_FIELDS],
            heat_given=warm.given,
            **next_words(views),
            faults=(),
            editable=(),
            **views.reading_work(),
        )

    @routes.get("/next/forecast", response_class=HTMLResponse, include_in_schema=False)
    def part(
        request: Request, group: Group = "", base: Group = "", neck_radius_mm: Length = 15.0,
        rim_radius_mm: Length = 50.0, depth_mm: Length = 30.0, bow_mm: Length = 0.0, wall_mm: Length = 0.8,
        quick: bool = False, slim: bool = False, thermal_k_w: Cell = "", hot_ohm: Cell = "", hot_w: Cell = "",
        room_c: Cell = "",
    ) -> Response:  # fmt: skip
        asked = wish(group, base, neck_radius_mm, rim_radius_mm, depth_mm, bow_mm, wall_mm)
        try:
            drawing = _drawing(asked, desk.package)
            inputs = inputs_of(asked)
            told = views.forecaster.quick(inputs, drawing) if quick else views.forecaster.full(inputs, drawing)
        except FrustaError as error:
            what, _, remedy = str(error).rpartition("; ")
            return views.render("next_impossible.html", request, what=what or str(error), remedy=remedy)
        if told is None:
            return Response(status_code=204)
        widths = (SLIM if slim else WIDE,) if quick else (WIDE, SLIM)
        heat = heat_told(
            desk.package, inputs, told.material, drawing, HeatAsked(thermal_k_w, hot_ohm, hot_w, room_c)
        )  # fmt: skip
        words = _words(views, told, drawing, asked, widths, inputs.overhang or OverhangLimit())
        return views.render("next_forecast.html", request, quick=quick, heat=heat, **words)

    @routes.get("/api/forecast", tags=["next cone"])
    def forecast(
        group: Group, base: Group = "", neck_radius_mm: Length = 15.0, rim_radius_mm: Length = 50.0,
        depth_mm: Length = 30.0, bow_mm: Length = 0.0, wall_mm: Length = 0.8, quick: bool = False,
        thermal_k_w: Cell = "", hot_ohm: Cell = "", hot_w: Cell = "", room_c: Cell = "",
    ) -> dict[str, Any]:  # fmt: skip
        """Forecast a cone that has not been printed; ``group`` is material or material/recipe.

        A quick look has a band from few possible prints, and of all figures break-up alone. Heat at the neck takes what
        is known of the coil: K/W from coil to room, or its hot resistance at a power; the room.
        """
        asked = wish(group, base, neck_radius_mm, rim_radius_mm, depth_mm, bow_mm, wall_mm)
        drawing = _drawing(asked, desk.package)
        inputs = inputs_of(asked)
        told = inputs.of(drawing, QUICK if quick else FULL)
        document = forecast_document(told, base or "new")
        known = HeatAsked(thermal_k_w, hot_ohm, hot_w, room_c)
        heat, reason = neck_heat_of(desk.package, inputs, told.material, drawing, known)
        document["heat"] = heat_document(heat)
        if reason is not None:
            document["reasons"]["heat"] = reason
        return document

    @routes.get(
        "/api/printfile", tags=["next cone"], responses=a_file("model/3mf", "model/stl"), response_class=Response
    )
    def printfile(
        kind: Annotated[str, Query(pattern="^(3mf|stl)$")] = "3mf", group: Group = "", base: Group = "",
        neck_radius_mm: Length = 15.0, rim_radius_mm: Length = 50.0, depth_mm: Length = 30.0, bow_mm: Length = 0.0,
        wall_mm: Length = 0.8,
    ) -> Response:  # fmt: skip
        """Return the cone as 3MF or STL, neck down, in millimetres."""
        asked = wish(group, base, neck_radius_mm, rim_radius_mm, depth_mm, bow_mm, wall_mm)
        name = f"cone-{2 * rim_radius_mm:g}-{depth_mm:g}-bow{bow_mm:g}-wall{wall_mm:g}".replace(".", "_")
        data = print_file(cone_body(_drawing(asked, desk.package)), f".{kind}", name, {"Material": group})
        return Response(
            data,
            media_type="model/3mf" if kind == "3mf" else "model/stl",
            headers={"content-disposition": f'attachment; filename="{name}.{kind}"'},
        )

    return routes


def _drawing(asked: Wish, package: Any) -> ConeProfile:
    if not asked.rim_radius_mm > asked.neck_radius_mm > 0 or not asked.wall_mm > 0 or asked.depth_mm < 0:
        raise ParameterError("the rim must be wider than the neck and the wall above 0; move the sliders apart")
    return drawn_profile(asked.row(package))


def _ends(low: float, high: float, value: float) -> tuple[float, float]:
    """Ends of a slider: half to twice where the campaign's cone lies, inside of what makes sense."""
    if low < 0:
        return low, high
    return max(low, round(0.5 * value, 1)) if value else low, min(high, max(round(1.6 * value, 1), low + 1.0))


def _given(text: str, otherwise: float) -> float:
    """A number of the address, or the profile's where it is none."""
    try:
        value = float(text.replace(",", ".").replace("\u2212", "-"))
    except ValueError:
        return otherwise
    return value if math.isfinite(value) else otherwise


def _words(
    views: Views,
    told: Forecast,
    drawing: ConeProfile,
    asked: Wish,
    widths: tuple[tuple[float, str], ...],
    limit: OverhangLimit,
) -> dict[str, Any]:
    package = views.desk.package
    material, _, recipe = asked.group.partition("/")
    group = Groups((), package).of(material, recipe)
    style = group.style if group else Style("m1", (), "circle")
    name = group.name if group else material
    breakup = told.figures.get("breakup_hz")
    value = breakup.value if breakup else None
    where = quantity(value, "Hz", trim=False) if value else ""
    ends = ""
    if breakup and value and breakup.low_95 and breakup.high_95:
        ends = interval(breakup.low_95, breakup.high_95, "Hz", value=value)
    response = told.response
    x = response.frequency_hz
    label = f"Forecast for {name}. " + (
        f"Should break up at {where}" + (f" ({ends})." if ends else ".") if value else ""
    )
    expected = Curve(
        where or name,
        style,
        x,
        response.level_db,
        anchor=value,
        detail=f"({ends})" if ends else "",
    )
    low, high = (Curve("", style, x, y) for y in (response.low_95_db, response.high_95_db))
    rigid = Curve("rigid cone", style, x, response.rigid_db)
    band = facts.band_of(package)
    relative = told.level_is != "absolute"

    def make(width: float) -> dict[str, Any]:
        return forecast_chart(
            expected, low, high, description=label, rigid=rigid, band_hz=band, relative=relative, total_width=width
        )

    pictures, frames = [], []
    for width, key in widths:
        spec = make(width)
        frames.append(spec["usermeta"]["frusta"])
        pictures.append(Markup(chart_svg(spec, label=label, key=key)))
    plain_curves = [
        Curve("expected", style, x, response.level_db),
        Curve("low", style, x, low.y),
        Curve("high", style, x, high.y),
    ]
    data = safe_json({"units": ("Hz", "dB"), "frames": frames, "series": series_of(plain_curves, 1, rigid=rigid)})
    made = told.printable
    inside = ""
    if value and band:
        inside = "above your band" if value > band[1] else "inside your band"
    return {
        "name": name,
        "where": where,
        "ends": ends,
        "inside": inside,
        "no_breakup": breakup.reason if breakup and not value else "",
        "drawing": section_svg(
            drawing,
            label=f"Section to scale, {made.steepest_overhang_deg:.0f} degrees from upright at its flattest",
            limit=limit,
            bed=True,
        ),
        "verdict": {"yes": "Prints clean", "doubtful": "May sag", "no": "Will not print"}[made.verdict],
        "verdict_class": {"yes": "solid", "doubtful": "tape", "no": "tape"}[made.verdict],
        "why": [_sentence(r) for r in made.reasons]
        or [f"The flattest part hangs {made.steepest_overhang_deg:.0f}° from upright."],
        "mass": f"{told.mass_g:.2f}{NBSP}g ±{NBSP}{1.96 * told.mass_g_u:.2f}",
        "figures": [
            (title, _figure(told, key, unit) if key in told.figures else "coming")
            for key, title, unit in (
                ("breakup_loss_factor", "Loss factor there", ""),
                ("piston_limit_hz", "Leaves the rigid cone", "Hz"),
                ("decay_2_percent_ms", "Falls to 2 % in", "ms"),
                ("unevenness_db", "Unevenness, ±", "dB"),
            )
        ],
        "picture": Drawn("forecast", "", None, pictures[0], Markup("".join(pictures[1:])), Markup(data), None, label),
        "assumed": [_sentence(a) for a in told.assumed],
        "handbook": views.desk.known is None,
        "query": "&".join(f"{k}={getattr(asked, k)}" for k in ("group", "base", *(n for n, *_ in SLIDERS))),
        "bell": [
            (
                f"{BELLS[m.circumferential_order]}, n = {m.circumferential_order}",
                plus_minus(m.frequency_hz, 1.96 * m.frequency_hz_u, "Hz"),
            )
            for m in told.modes
            if m.circumferential_order in BELLS and m.mode_number == 1
        ],
    }


def _figure(told: Forecast, key: str, unit: str) -> str:
    found = told.figures.get(key)
    if found is None or found.value is None:
        return (found.reason if found else None) or "not had"
    text = quantity(found.value, unit, trim=False)
    if found.low_95 is not None and found.high_95 is not None:
        text += f" ({interval(found.low_95, found.high_95, unit, value=found.value)})"
    return text


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."
