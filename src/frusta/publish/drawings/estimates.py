"""What the filaments are, a panel a property."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from frusta.campaign.findings import Estimate, Findings
from frusta.publish.charts import StripRow, shared_windows, strips_chart
from frusta.publish.drawings.drawing import STRIP_PX, Drawing, sized, slug
from frusta.publish.groups import Groups
from frusta.publish.words import NBSP, quantity


@dataclass(frozen=True)
class EstimateFigure:
    """A property of a filament."""

    key: str
    name: str
    unit: str
    listed_as: str


ESTIMATES = (
    EstimateFigure("hoop_modulus_gpa", "Hoop modulus", "GPa", "hoop_modulus"),
    EstimateFigure("layer_shear_modulus_gpa", "Layer shear modulus", "GPa", "layer_shear_modulus"),
    EstimateFigure("axial_modulus_gpa", "Modulus across layers", "GPa", "axial_modulus"),
    EstimateFigure("loss_factor", "Loss factor", "", "loss_factor"),
    EstimateFigure("density_kg_m3", "Density", "kg/m³", "density"),
)


def estimate_drawings(findings: Findings, groups: Groups) -> list[Drawing]:
    """What the filaments are, a panel a property; none where nothing was estimated."""
    drawings = []
    for figure in ESTIMATES:
        rows = [r for e in findings.estimates if (r := _estimate_row(e, figure, groups)) is not None]
        if not rows:
            continue
        window = shared_windows([rows], logarithmic=False)[0]
        label = f"{figure.name}. " + "; ".join(f"{r.name} {r.figure}, {r.detail}" for r in rows) + "."
        make = sized(partial(strips_chart, rows, description=label, unit=figure.unit, window=window))
        heading = f"{figure.name}, {figure.unit}" if figure.unit else figure.name
        drawings.append(
            Drawing(f"estimate-{slug(figure.listed_as)}", make, label, STRIP_PX, heading=heading, narrow=False)
        )
    return drawings


def _estimate_row(estimate: Estimate, figure: EstimateFigure, groups: Groups) -> StripRow | None:
    group = groups.of(estimate.material, estimate.recipe)
    if group is None:
        return None
    value, u = getattr(estimate, figure.key), getattr(estimate, f"{figure.key}_u")
    if value is None:
        return StripRow(group.name, "not had", estimate.reasons.get(figure.key, ""), group.style, ())
    half = None if u is None else 1.96 * u
    assumed = figure.listed_as in estimate.assumed
    word = "assumed" if assumed else ("identified" if figure.listed_as in estimate.identified else "loosely known")
    text = quantity(value, "", half_width=half)
    if half is not None:
        text += f" ±{NBSP}{quantity(half, '', half_width=half)}"
    low, high = (None, None) if half is None else (value - half, value + half)
    return StripRow(group.name, text, word, group.style, (), value, low, high, assumed)
