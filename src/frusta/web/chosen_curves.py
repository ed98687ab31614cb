"""Curves of any chosen cones on one axis, the rigid cone behind, distortion and decay below."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from frusta.campaign.findings import Reading
from frusta.publish import facts
from frusta.publish.charts import Curve, decay_chart, distortion_chart, response_chart
from frusta.publish.charts.frequency_axis import frequency_span
from frusta.publish.curves_of import Shown, decay_curve, distortion_curve, response_curve, rigid_curve, shown_takes
from frusta.publish.drawings.curve_parts import third_octaves
from frusta.publish.drawings.distortions import highest
from frusta.publish.drawings.drawing import Drawing
from frusta.publish.groups import Group, Groups
from frusta.publish.theme import Style
from frusta.publish.words import band as band_words
from frusta.publish.words import quantity
from frusta.web.banded_decay import banded_decay
from frusta.web.drawn import series_of
from frusta.web.kept_analysis import Known

MOST = 8
CLOSER_PX, CLOSER_NARROW_PX, CLOSER_BELOW_PX = 460.0, 320.0, 300.0
"""Heights of a closer look, which is stretched sideways."""
SERIES = tuple(float(f"{digit}e{power}") for power in range(1, 5) for digit in (1, 2, 5))


def chosen_of(known: Known, groups: Groups, specimens: Sequence[str], profile: str) -> list[Shown]:
    """Return the takes that stand for the cones chosen; without a choice the median print of each material.

    A specimen's first take that counts stands for it.
    """
    if not specimens:
        return shown_takes(known.findings.readings, known.curves, groups, profile)
    found = []
    for key in dict.fromkeys(specimens):
        reading = _first_good(known, key)
        if reading is None:
            continue
        group = groups.of(reading.material, reading.recipe)
        style = group.style if group else Style("ink-2", (4, 3), "circle")
        named = Group(reading.material or "", reading.recipe or "", key, style)
        found.append(Shown(named, reading, known.curves[reading.take]))
    return found[:MOST]


def curve_drawings(known: Known, shown: Sequence[Shown], zoom: tuple[float, float] | None) -> list[Drawing]:
    """Return response, distortion and decay of the takes shown; those that cannot be had are left out."""
    if not shown:
        return []
    package = known.package
    band, stop = facts.band_of(package), facts.stop_hz(known.findings, package)
    found = [_response(known, shown, band, zoom)]
    pairs = [distortion_curve(s, None) for s in shown]
    lines = [c for c, _ in pairs if np.isfinite(c.y).any()]
    if lines:
        floor = highest([noise for _, noise in pairs])
        noise = Curve("noise", lines[0].style, lines[0].x, floor)
        label = "Distortion with the cone's own peaks taken out: " + ", ".join(c.name for c in lines) + "."

        def distortion(width: float, scheme: str) -> dict[str, Any]:
            return distortion_chart(
                lines, description=label, noise=noise, stop_hz=stop, band_hz=band, total_width=width, scheme=scheme,
                span_hz=zoom, tall_px=None if zoom is None else CLOSER_BELOW_PX,
            )  # fmt: skip

        found.append(
            Drawing(
                "distortion", distortion, label, 560, heading="Distortion, peaks taken out",
                table=third_octaves(lines, "%", 3), series=series_of(lines, 3), units=("Hz", "%"),
            )
        )  # fmt: skip
    falling = [
        c for c in (decay_curve(s, None) if zoom is None else banded_decay(s, zoom) for s in shown) if c is not None
    ]
    if falling:
        echo = min(float(c.x[np.isfinite(c.y)][-1]) for c in falling)
        heading = "Falling silent" if zoom is None else f"Falling silent, {band_words(*zoom)}"
        said = f"{heading}: " + ", ".join(c.name for c in falling) + "."

        def decay(width: float, scheme: str) -> dict[str, Any]:
            return decay_chart(falling, description=said, echo_ms=echo, total_width=width, scheme=scheme)

        found.append(
            Drawing(
                "decay",
                decay,
                said,
                560,
                heading=heading,
                series=series_of(falling, 1, step=4),
                units=("ms", "%"),
            )
        )
    return found


def of_several_shapes(shown: Sequence[Shown]) -> bool:
    """Whether takes are of cones of several shapes, so that no one rigid cone belongs beside them."""
    return len({s.reading.profile for s in shown}) > 1


def zoom_of(low_text: str, high_text: str) -> tuple[float, float] | None:
    """Return a stretch of the frequency axis, its ends on lines that carry a label; None for the whole.

    >>> zoom_of("2100", "4900"), zoom_of("", "4900"), zoom_of("5000", "2000")
    ((2000.0, 5000.0), None, (2000.0, 5000.0))
    """
    try:
        low, high = sorted(float(text.strip().replace(",", ".")) for text in (low_text, high_text))
    except ValueError:
        return None
    if not (math.isfinite(high) and 0 < low < high):
        return None
    start = max((v for v in SERIES if v <= low * 1.02), default=SERIES[0])
    end = min((v for v in SERIES if v >= high * 0.98), default=20000.0)
    return (start, end) if start < end else None


def _response(
    known: Known, shown: Sequence[Shown], band: tuple[float, float] | None, zoom: tuple[float, float] | None
) -> Drawing:
    lines = [response_curve(s) for s in shown]
    rigid = None if of_several_shapes(shown) else rigid_curve(shown)
    package = known.package
    start, stop = facts.start_hz(known.findings, package), facts.stop_hz(known.findings, package)
    read = (start or 0.0, stop or math.inf)
    relative = facts.relative_levels(known.findings, package)
    peaks = "; ".join(
        f"{s.group.name} breaks up at {quantity(s.reading.breakup_hz, 'Hz')}" if s.reading.breakup_hz else s.group.name
        for s in shown
    )
    label = f"Level along the band. {peaks}."
    top = length = None
    if zoom is not None:
        top, length = _levels(lines, zoom)

    def make(width: float, scheme: str) -> dict[str, Any]:
        return response_chart(
            lines, description=label, rigid=rigid, band_hz=band, read_hz=read, relative=relative, total_width=width,
            top_db=top, range_db=length, span_hz=zoom or frequency_span(band, stop), scheme=scheme,
            tall_px=None if zoom is None else (CLOSER_NARROW_PX if width < 450 else CLOSER_PX),
        )  # fmt: skip

    return Drawing(
        "response", make, label, 760, table=third_octaves(lines, "dB", 1), series=series_of(lines, 1, rigid=rigid),
        units=("Hz", "dB"),
    )  # fmt: skip


def _levels(lines: Sequence[Curve], span: tuple[float, float]) -> tuple[float, float]:
    """Top and length of the level axis for a closer look: what the curves need there, in fives."""
    inside = [c.y[(c.x >= span[0]) & (c.x <= span[1]) & np.isfinite(c.y)] for c in lines]
    values = np.concatenate([v for v in inside if v.size] or [np.zeros(1)])
    top = 5.0 * math.ceil((float(values.max()) + 4 + 2 * len(lines)) / 5)
    bottom = 5.0 * math.floor(float(values.min()) / 5)
    return top, max(10.0, min(60.0, top - bottom))


def _first_good(known: Known, specimen: str) -> Reading | None:
    own = [r for r in known.findings.readings if r.specimen == specimen and r.take in known.curves]
    return next((r for r in own if r.quality != "repeat"), own[0] if own else None)
