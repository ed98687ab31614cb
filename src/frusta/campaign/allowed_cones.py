"""What cones may be tried for a campaign: shapes around its own, whole printed lines, filaments that are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from frusta.campaign.forecasting import knowledge_of, overhang_limit
from frusta.campaign.groups import groups_of
from frusta.campaign.package import Package
from frusta.campaign.ranking import Member
from frusta.campaign.rows import Recipe
from frusta.cone.profile import ConeProfile
from frusta.design.printability import NOZZLE_M, USUAL_CLEAN_DEG, USUAL_FAILED_DEG, OverhangLimit, overhang_deg
from frusta.design.search import Filament, Limits
from frusta.material.learned import Learned

AROUND = 0.2
"""How far the search goes beyond the campaign's own cones, relative, where no limits are given."""
LEAST_BOW = 0.10
"""Bow that is tried at least, in parts of the largest depth: a campaign of straight cones says nothing against bows."""
LEAST_RIM = 1.3
"""Smallest rim that is tried, in neck radii."""
WALLS = 5
"""Walls that are tried where no recipe names the width of a line."""


@dataclass(frozen=True)
class Wish:
    """What the maker asks for; None where the campaign decides.

    Parameters
    ----------
    weights : mapping of str to float
        By part of the goal.
    band_hz : (float, float) or None
    rim_mm, depth_mm, bow_mm, wall_mm : (float, float) or None
        Limits.
    """

    weights: Mapping[str, float] | None = None
    band_hz: tuple[float, float] | None = None
    rim_mm: tuple[float, float] | None = None
    depth_mm: tuple[float, float] | None = None
    bow_mm: tuple[float, float] | None = None
    wall_mm: tuple[float, float] | None = None


def printed_kinds(package: Package) -> list[tuple[str, str]]:
    """Return the kinds of cone that exist, group and profile, in the order of the tables."""
    group_of, members = groups_of(package)
    have = {(group_of[s.specimen], s.profile) for s in package.specimens.values() if s.specimen in group_of}
    return [(g, p) for g in members for p in package.profiles if (g, p) in have]


def limits_of(wish: Wish, printed: Sequence[ConeProfile]) -> tuple[Limits, list[str]]:
    """Return what shapes may be tried: as wished, else a fifth around what was printed; and that in words.

    Parameters
    ----------
    wish : Wish
    printed : sequence of ConeProfile
        Not empty.
    """
    necks = sorted({p.neck_radius_m for p in printed}, key=lambda neck: sum(p.neck_radius_m == neck for p in printed))
    caps = [p.cap for p in printed]
    cap: Literal["none", "flat"] = "flat" if 2 * caps.count("flat") > len(caps) else "none"

    def around(values: Sequence[float], given_mm: tuple[float, float] | None) -> tuple[float, float]:
        if given_mm is not None:
            return 1e-3 * given_mm[0], 1e-3 * given_mm[1]
        return round((1.0 - AROUND) * min(values), 4), round((1.0 + AROUND) * max(values), 4)

    rim = around([p.rim_radius_m for p in printed], wish.rim_mm)
    if wish.rim_mm is None:
        rim = max(rim[0], round(LEAST_RIM * necks[-1], 4)), rim[1]
    depth = around([p.depth_m for p in printed], wish.depth_mm)
    if wish.bow_mm is not None:
        bow = around([], wish.bow_mm)
    else:
        least = LEAST_BOW * depth[1]
        low, high = (1.0 + AROUND) * min(p.bow_m for p in printed), (1.0 + AROUND) * max(p.bow_m for p in printed)
        bow = round(min(low, -least), 4), round(max(high, least), 4)
    said = [
        f"shapes tried: rim {1e3 * rim[0]:.1f} to {1e3 * rim[1]:.1f} mm, depth {1e3 * depth[0]:.1f} to "
        f"{1e3 * depth[1]:.1f} mm, bow {1e3 * bow[0]:+.1f} to {1e3 * bow[1]:+.1f} mm, neck {1e3 * necks[-1]:.1f} mm"
    ]
    if len(necks) > 1:
        said.append("the campaign has several neck radii; the commonest was kept")
    return Limits(necks[-1], rim, depth, bow, cap), said


def filaments_of(
    package: Package,
    learned: Learned,
    wish: Wish,
    drawn: Mapping[str, ConeProfile],
    printed: Sequence[tuple[str, str]],
) -> tuple[list[Filament], list[str]]:
    """Return what may be printed of: every group that was estimated, where none was, all by the handbook; and words.

    Parameters
    ----------
    package : Package
    learned : Learned
    wish : Wish
    drawn : mapping of str to ConeProfile
        The package's profiles.
    printed : sequence of (str, str)
        As `printed_kinds` returns them.
    """
    _, members = groups_of(package)
    if not members:
        members = {key: Member(key, None, row.name) for key, row in package.materials.items()}
    told = [g for g in members if g in learned.materials]
    said: list[str] = []
    if told and len(told) < len(members):
        missing = ", ".join(members[g].name for g in members if g not in told)
        said.append(f"not tried, for want of an estimate: {missing}")
    if not told:
        said.append("no filament was estimated from recordings: handbook ranges, from memory, hold for all of them")
    found = []
    for group in told or list(members):
        member = members[group]
        known = learned.materials.get(group) or knowledge_of(package, member.material, member.recipe, learned)
        own = [drawn[p] for g, p in printed if g == group]
        recipe = package.recipes.get(member.recipe) if member.recipe else None
        walls, rule, words = _walls(recipe, own or list(drawn.values()), wish.wall_mm)
        limit, words_limit = _overhang(package, member.material, member.recipe, own)
        said += [w for w in (*words, *words_limit) if w not in said]
        line_m = 1e-3 * recipe.line_width_mm if recipe and recipe.line_width_mm else NOZZLE_M
        found.append(Filament(group, known, walls, rule, limit, line_m))
    return found, said


def _walls(
    recipe: Recipe | None, own: Sequence[ConeProfile], wall_mm: tuple[float, float] | None
) -> tuple[tuple[float, ...], Literal["normal", "line"], list[str]]:
    """Whole printed lines where the recipe names their width, else walls along the normal."""
    widths = [_horizontal_m(p) for p in own]
    if recipe is not None and recipe.line_width_mm:
        line_m = 1e-3 * recipe.line_width_mm
        low, high = (1.0 - AROUND) * min(widths), (1.0 + AROUND) * max(widths)
        if wall_mm is not None:
            low, high = 1e-3 * wall_mm[0], 1e-3 * wall_mm[1]
        counts = [n for n in range(1, 13) if low * (1 - 1e-9) <= n * line_m <= high * (1 + 1e-9)]
        if wall_mm is None:  # a fifth is less than a line: one line fewer and one more are tried all the same
            middle = max(1, round(float(np.mean(widths)) / line_m))
            counts = sorted({*counts, middle, middle + 1, max(middle - 1, min(2, middle))})
        counts = counts or [max(1, round(0.5 * (low + high) / line_m))]
        said = [
            f"walls tried, {recipe.recipe}: {', '.join(str(n) for n in counts)} lines of {recipe.line_width_mm:g} mm, "
            "their width across"
        ]
        if recipe.lines is not None and any(n != recipe.lines for n in counts):
            said.append(f"{recipe.recipe} prints {recipe.lines:g} lines: other walls trust the plastic to be alike")
        return tuple(round(n * line_m, 7) for n in counts), "line", said
    rule: Literal["normal", "line"] = "line" if 2 * sum(p.wall_rule == "line" for p in own) > len(own) else "normal"
    walls = [p.wall_m for p in own if p.wall_rule == rule] or widths
    low, high = (1.0 - AROUND) * min(walls), (1.0 + AROUND) * max(walls)
    if wall_mm is not None:
        low, high = 1e-3 * wall_mm[0], 1e-3 * wall_mm[1]
    tried = tuple(dict.fromkeys(round(float(w), 5) for w in np.linspace(low, high, WALLS)))
    said = [
        f"walls tried: {1e3 * tried[0]:.2f} to {1e3 * tried[-1]:.2f} mm; no line_width_mm in recipes.csv, so they are "
        "not held to whole lines"
    ]
    return tried, rule, said


def _horizontal_m(profile: ConeProfile) -> float:
    """Mean width of a wall's layers."""
    u = np.linspace(0.0, 1.0, 101)
    return float(np.mean(profile.thickness_m(u) / np.maximum(np.abs(profile.unit_normal(u)[0]), 1e-3)))


def _overhang(
    package: Package, material: str, recipe: str | None, own: Sequence[ConeProfile]
) -> tuple[OverhangLimit, list[str]]:
    """The coupon's limit; without one, what was printed of it did print."""
    tested = overhang_limit(package, material, recipe)
    if tested is not None:
        return tested, []
    printed = max((float(overhang_deg(p)[1].max()) for p in own), default=0.0)
    clean = max(USUAL_CLEAN_DEG, printed)
    said = "overhang assumed clean to 45°, no coupon was printed"
    if clean > USUAL_CLEAN_DEG:
        said = f"overhang taken as clean to {clean:.0f}°, as far as the campaign's cones lean; no coupon was printed"
    return OverhangLimit(clean, max(USUAL_FAILED_DEG, clean)), [said]
