"""What stands beside the estimates of the filaments."""

from __future__ import annotations

from typing import Any

from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.campaign.sentences import loss_lines
from frusta.publish.words import NBSP, listed


def estimates_words(findings: Findings, package: Package) -> dict[str, Any]:
    """The sentence over the estimates, how well they fit, and remarks on loss factors."""
    fits = [e.chi_square for e in findings.estimates if e.chi_square is not None]
    fit = f"Chi-square per degree of freedom: {listed([f'{v:.2g}' for v in fits])}." if fits else ""
    lede = (
        "Estimated from the resonances of the cones, after shape, air, joint and motor are accounted for. "
        f"Bars and ±: 95{NBSP}%."
    )
    polymers = {key: row.polymer for key, row in package.materials.items()}
    return {"estimates_lede": lede, "estimates_fit": fit, "estimates_loss": loss_lines(findings.estimates, polymers)}
