"""The words and drawings of the report, section by section, ready for the template."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish import facts
from frusta.publish.drawings.decays import decay_drawings
from frusta.publish.drawings.distortions import distortion_drawings
from frusta.publish.drawings.drawing import Drawing
from frusta.publish.drawings.estimates import estimate_drawings
from frusta.publish.drawings.ranking import ranking_drawing
from frusta.publish.drawings.responses import response_drawings
from frusta.publish.drawings.strips import STRIPS, StripFigure, strip_drawings
from frusta.publish.gaps import gaps, unread
from frusta.publish.groups import Groups
from frusta.publish.sections.beside_charts import beside_curves, beside_strips
from frusta.publish.sections.differences import differences_words
from frusta.publish.sections.drivers import drivers_table
from frusta.publish.sections.estimates import estimates_words
from frusta.publish.sections.faults import faults_words
from frusta.publish.sections.method import SOURCES, conditions_words, method_words
from frusta.publish.sections.narrow import blips_table, narrow_distortion_table
from frusta.publish.sections.ranking import ranking_words
from frusta.publish.stays import stays_of_profiles
from frusta.publish.table import TableOf
from frusta.publish.verdict import opening


@dataclass(frozen=True)
class Report:
    """Everything that a report says, before it is drawn and written.

    Attributes
    ----------
    words : dict
        Values of the template that are words and tables.
    drawings : dict of str to list of Drawing
        By the template's name of the place.
    more_strips : list of (StripFigure, list of Drawing)
        Further figures, print by print.
    """

    words: dict[str, Any]
    drawings: dict[str, list[Drawing]]
    more_strips: list[tuple[StripFigure, list[Drawing]]]


def compose(findings: Findings, curves: Mapping[str, TakeCurves], package: Package) -> Report:
    """Compose a report from findings, curves and tables.

    Parameters
    ----------
    findings : Findings
        Of the campaign.
    curves : mapping of str to TakeCurves
        By take; takes without curves are not drawn.
    package : Package
        The campaign's tables.

    Returns
    -------
    Report
    """
    groups = Groups(findings.readings, package)
    places = {
        "strips": strip_drawings(findings, package, groups, STRIPS[0]),
        "responses": response_drawings(findings, package, curves, groups),
        "distortions": distortion_drawings(findings, package, curves, groups),
        "decays": decay_drawings(findings, package, curves, groups),
        "estimates": estimate_drawings(findings, groups),
    }
    ranking = ranking_drawing(findings, groups)
    places["ranking"] = [ranking] if ranking is not None and len(findings.ranking) > 1 else []
    more = [(f, drawn) for f in STRIPS[1:] if (drawn := strip_drawings(findings, package, groups, f))]
    words = {
        **_head(findings, package, groups),
        **beside_strips(findings, package, groups),
        **ranking_words(findings, package, groups),
        **beside_curves(findings, package, groups, places),
        **differences_words(findings, package, groups),
        **estimates_words(findings, package),
        **faults_words(findings),
        **conditions_words(findings, package),
        **method_words(findings, package),
        "stays": stays_of_profiles(findings, curves, package, groups),
        "drivers": drivers_table(findings, package),
        "gaps": gaps(findings, package, groups),
        "unread": _unread(findings),
        "blips": blips_table(findings),
        "narrow_distortion": narrow_distortion_table(findings, package),
        "sources": SOURCES,
    }
    return Report(words, places, more)


def _head(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    verdict, under = opening(findings, package, groups)
    campaign = package.campaign
    return {
        "title": campaign.title,
        "campaign": campaign.campaign,
        "question": campaign.question or "",
        "notes": campaign.notes or "",
        "when": facts.session_span(facts.used_sessions(findings, package)),
        "verdict": verdict,
        "under": under,
        "facts": facts.key_facts(findings, package),
    }


def _unread(findings: Findings) -> TableOf | None:
    rows = [[name, f"{without} of {total}", why] for name, without, total, why in unread(findings)]
    return TableOf(["Figure", "Takes without it", "Most frequent reason"], rows) if rows else None
