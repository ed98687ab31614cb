"""What these recordings do not show: computed from what is missing, never a fixed list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish.facts import day, relative_levels, used_rigs, used_sessions
from frusta.publish.groups import Groups
from frusta.publish.prints import counted
from frusta.publish.words import NBSP, count, listed, plain

ESTIMATED = {
    "hoop_modulus": "hoop modulus",
    "layer_shear_modulus": "layer shear modulus",
    "axial_modulus": "stiffness across layers",
    "loss_factor": "loss factor",
    "density": "density",
}


@dataclass(frozen=True)
class Gap:
    """Something that the recordings do not show, and what would."""

    what: str
    why: str


def gaps(findings: Findings, package: Package, groups: Groups) -> list[Gap]:
    """Return what is missing in a campaign, the most weighty first."""
    kept = counted(findings.readings)
    found = _prints(findings, groups)
    if not kept:
        return found
    if relative_levels(findings, package) and kept:
        found.append(
            Gap("How loud.", "Levels are relative: no table gives the pressure at full scale. Shapes of curves hold.")
        )
    found += _materials(findings, groups)
    if not any(r.kind == "driver" for r in findings.readings):
        found.append(
            Gap(
                "A finished driver.",
                "There is no surround here; one would damp the rim and lower every peak.",
            )
        )
    rigs = used_rigs(findings, package)
    distances = sorted({rig.microphone_distance_mm for rig in rigs})
    if distances:
        where = listed([f"{plain(d, 0)}{NBSP}mm" for d in distances])
        found.append(Gap("Other directions.", f"Everything was heard on axis, at {where}."))
    mountings = {rig.mounting for rig in rigs}
    if mountings == {"free"}:
        found.append(Gap("A box or a baffle.", "The cones played free in air; both sides were heard together."))
    elif mountings == {"baffle"}:
        found.append(Gap("Free air, or a box.", "The cones played in a baffle."))
    found += _levels(findings, package)
    found += _ages(findings, package)
    found += _batches(findings, package)
    return found


def unread(findings: Findings) -> list[tuple[str, int, int, str]]:
    """Figures that could not be read: name, takes without it, takes in all, the most frequent reason."""
    kept = counted(findings.readings)
    rows = []
    for key, figure in FIGURE.items():
        without = [r for r in kept if getattr(r, key) is None]
        if without:
            reasons = Counter(r.reasons.get(key, "no reason was given") for r in without)
            why = max(sorted(reasons), key=lambda reason: reasons[reason])
            rows.append((figure.name, len(without), len(kept), why))
    return rows


def _prints(findings: Findings, groups: Groups) -> list[Gap]:
    kept = counted(findings.readings)
    if not kept:
        return [Gap("Anything.", "No take of a cone could be used.")]
    found = []
    each: dict[tuple[str | None, ...], set[str]] = {}
    for r in kept:
        each.setdefault((r.material, r.recipe, r.profile), set()).add(r.specimen)
    single = sum(len(prints) == 1 for prints in each.values())
    if single == len(each):
        found.append(
            Gap("Scatter between prints.", "One print each: no interval. A second print of each would show it.")
        )
    elif single:
        found.append(
            Gap("Scatter of every kind of print.", f"{count(single, 'kind').capitalize()} of print came once only.")
        )
    if len({(r.specimen, r.seating) for r in kept}) == len({r.specimen for r in kept}):
        found.append(Gap("Scatter between seatings.", "Every cone was pushed on once."))
    if len(groups.all) < 2:
        found.append(Gap("How it compares.", "One material, printed one way, was recorded."))
    if not any(r.profile for r in kept):
        found.append(
            Gap("What the shape does.", "No cone profile is given, so no rigid cone could be computed either.")
        )
    return found


def _materials(findings: Findings, groups: Groups) -> list[Gap]:
    if not findings.estimates:
        return [
            Gap(
                "The filament itself.",
                "These are figures of cones. Shape, air, joint and motor have not been taken out of them.",
            )
        ]
    found = []
    for row in findings.estimates:
        name = groups.name_of(row.material if row.recipe is None else f"{row.material}/{row.recipe}")
        if row.hoop_modulus_gpa is None:
            found.append(Gap(f"What {name} is.", _sentence(row.reasons["hoop_modulus_gpa"])))
        elif "cones" in row.reasons:
            found.append(Gap(f"Some cones of {name}.", _sentence(row.reasons["cones"])))
    for key, name in ESTIMATED.items():
        assumed = [
            groups.name_of(e.material if e.recipe is None else f"{e.material}/{e.recipe}")
            for e in findings.estimates
            if key in e.assumed
        ]
        if assumed:
            cure = " An upright stick, tapped, would show it." if "layer" in name else ""
            found.append(Gap(f"{name.capitalize()} of {listed(assumed)}.", f"Assumed, not measured.{cure}"))
    return found


def _sentence(words: str) -> str:
    """Words as a sentence, keys of specimens as they are written."""
    return f"{words.rstrip('.')}."


def _levels(findings: Findings, package: Package) -> list[Gap]:
    takes = [package.takes[r.take] for r in counted(findings.readings) if r.take in package.takes]
    levels = {
        (t.drive_gain_db or 0.0, package.sweeps[t.sweep].level_dbfs if t.sweep in package.sweeps else None)
        for t in takes
    }
    if len(levels) == 1:
        return [Gap("Loud playing and warm coils.", "One level, a few seconds at a time.")]
    return (
        [] if not levels else [Gap("Warm coils.", f"{count(len(levels), 'level').capitalize()}, a few seconds each.")]
    )


def _ages(findings: Findings, package: Package) -> list[Gap]:
    cones = {r.specimen for r in counted(findings.readings)}
    printed = [d for s in package.specimens.values() if s.specimen in cones and (d := day(s.printed_on))]
    heard = [d for s in used_sessions(findings, package) if (d := day(s.date))]
    if not cones:
        return []
    if not printed or not heard:
        return [Gap("Ageing.", "No printing dates are noted.")]
    days = (max(heard) - min(printed)).days
    if days < 0:
        return [Gap("Ageing.", "The dates of printing lie after those of recording; correct them.")]
    return [Gap("Ageing.", f"The oldest print was {_age(days)} old.")]


def _age(days: int) -> str:
    if days < 21:
        return count(days, "day")
    return count(round(days / 7), "week") if days < 180 else count(round(days / 30.4), "month")


def _batches(findings: Findings, package: Package) -> list[Gap]:
    cones = {r.specimen for r in counted(findings.readings)}
    by_material: dict[str | None, set[str | None]] = {}
    for s in package.specimens.values():
        if s.specimen in cones:
            by_material.setdefault(s.material, set()).add(s.batch)
    named: Sequence[set[str | None]] = [b for b in by_material.values() if b != {None}]
    if not by_material:
        return []
    if not named:
        return [Gap("Other spools of the same name.", "The tables do not say which spool a print came from.")]
    if all(len(batches) == 1 for batches in named):
        return [Gap("Other spools of the same name.", "One batch of each was used.")]
    return []
