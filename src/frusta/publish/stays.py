"""Stays put or moves, in the report: which peaks and dips are the air's or the rig's, and which the cone's."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.campaign.stays_put import StaysRow, stays_of
from frusta.publish.groups import Groups, glyph_points, profile_name, profile_order
from frusta.publish.table import TableOf
from frusta.publish.words import count, plain, quantity, sentence

TOLD = 3
"""Features of a verdict told in words; the others stand in the table."""


@dataclass(frozen=True)
class StaysOfProfile:
    """One profile: its name and section, what to say, and every feature in a table."""

    name: str
    glyph: tuple[str, str, str] | None
    says: list[str]
    table: TableOf
    table_title: str


def stays_of_profiles(
    findings: Findings, curves: Mapping[str, TakeCurves], package: Package, groups: Groups
) -> list[StaysOfProfile]:
    """Return what stays put and what moves, profile by profile.

    Parameters
    ----------
    findings : Findings
    curves : mapping of str to TakeCurves
        By take.
    package : Package
    groups : Groups
        What is compared.

    Returns
    -------
    list of StaysOfProfile
        Empty where no profile was printed in two materials, or none has a peak or dip that stands out.
    """
    rows = stays_of(findings, curves, package)
    told = []
    for profile in profile_order((row.profile for row in rows), package):
        own = [row for row in rows if row.profile == profile]
        name = profile_name(profile, package)
        drawn = package.profiles.get(profile)
        glyph = glyph_points(drawn) if drawn is not None else None
        title = f"Stays put or moves, {name}: every peak and dip"
        told.append(StaysOfProfile(name, glyph, sentences_of(own), _table(own, groups), title))
    return told


def sentences_of(rows: Sequence[StaysRow]) -> list[str]:
    """Return what is worth telling of a profile: what stays, tallest first; the tallest that moves; what is unclear."""
    tall = sorted(rows, key=lambda row: -row.prominence_db)
    stays, moves, unclear = ([r for r in tall if r.verdict == v] for v in ("stays", "moves", "unclear"))
    lines = [_alone(row) for row in stays[:TOLD]]
    if len(stays) > TOLD:
        lines.append(sentence(f"{count(len(stays) - TOLD, 'smaller one')} {_verb(len(stays) - TOLD, 'stay')}, too"))
    if not stays:
        lines.append("No peak or dip stays put: none is blamed on air or rig.")
    if moves:
        lines.append(_alone(moves[0]))
    if len(moves) > 1:
        others = len(moves) - 1
        lines.append(sentence(f"{count(others, 'other')} {_verb(others, 'move')} likewise"))
    if unclear:
        lines.append(sentence(f"{count(len(unclear), 'peak or dip', 'peaks and dips')} cannot be told"))
    return lines


def _verb(number: int, plural: str) -> str:
    return f"{plural}s" if number == 1 else plural


def _alone(row: StaysRow) -> str:
    """The row's sentence without the profile that opens it."""
    return sentence(row.sentence.removeprefix(f"{row.profile}: "))


def _table(rows: Sequence[StaysRow], groups: Groups) -> TableOf:
    names = list(dict.fromkeys(group for row in rows for group in row.frequency_hz))
    names.sort(key=lambda key: next((k for k, g in enumerate(groups.all) if g is groups.of_key(key)), len(names)))
    return TableOf(
        ["Peak or dip", "Verdict", "Probability", *(groups.name_of(key) for key in names), "Stands out by"],
        [
            [
                row.kind,
                row.verdict,
                plain(row.probability, 2),
                *(quantity(hz, "Hz", trim=False) if (hz := row.frequency_hz.get(k)) else "not found" for k in names),
                quantity(float(f"{row.prominence_db:.2g}"), "dB"),
            ]
            for row in rows
        ],
    )
