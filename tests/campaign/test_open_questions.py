"""Open differences, and what another print or seating would make of them.

Oracles: the rows of `find_differences` for the same readings; the closed form of a mean's variance.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from frusta.campaign.differences import find_differences
from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Findings, Reading
from frusta.campaign.most_informative import Candidate, Questions, suggest
from frusta.campaign.open_questions import another_print, another_seating, differences_of, open_figures
from frusta.cone.elasticity import Elastic
from frusta.material.knowledge import MaterialKnowledge, coordinates_of


def readings(prints: dict[str, int], gap: float = 0.003) -> list[Reading]:
    rng = np.random.default_rng(4)
    rows = []
    for place, (material, count) in enumerate(prints.items()):
        for number in range(1, count + 1):
            own = 2000.0 * math.exp(gap * place + 0.008 * rng.standard_normal())
            for seating in (1, 2):
                rows.append(
                    Reading(
                        take=f"{material}-{number}-{seating}", specimen=f"{material}-{number}", kind="cone",
                        material=material, recipe=None, profile="st90", session="s", seating=seating, quality="ok",
                        breakup_hz=own * math.exp(0.002 * rng.standard_normal()),
                    )
                )  # fmt: skip
    return rows


def asked(prints: dict[str, int]) -> tuple[Questions, list[Reading]]:
    rows = readings(prints)
    group_of = {r.specimen: str(r.material) for r in rows}
    findings = Findings(campaign="c", made_by="test", readings=tuple(rows))
    return Questions(None, {m: m.title() for m in prints}, differences_of(findings, group_of)), rows


def test_gaps_are_those_of_the_findings() -> None:
    questions, rows = asked({"ash": 3, "bay": 3, "elm": 2})
    told = find_differences(rows, {r.specimen: str(r.material) for r in rows}, figures=(FIGURE["breakup_hz"],))
    gaps = {(g.a, g.b): g for g in questions.differences[0].gaps("st90")}
    assert len(gaps) == len(told) == 3
    for row in told:
        gap = gaps[(row.a, row.b)]
        assert row.ratio is not None
        assert row.high_95 is not None
        assert gap.reach is not None
        assert math.exp(gap.gap) == pytest.approx(row.ratio)
        assert math.exp(gap.gap + gap.reach) == pytest.approx(row.high_95)


def test_another_print_narrows_a_mean_as_one_over_the_prints_and_a_seating_hardly() -> None:
    """Variance of a mean of n prints is s²/n; a seating only lessens that print's own part of it."""
    questions, _ = asked({"ash": 2, "bay": 3})
    of = questions.differences[0]
    now = of.mean_variance("st90", "ash")
    more = of.mean_variance("st90", "ash", another_print(of.cells))
    seated = of.mean_variance("st90", "ash", another_seating(of.cells[("st90", "ash")], "ash-1"))
    assert now is not None
    assert more is not None
    assert seated is not None
    assert more == pytest.approx(now * 2.0 / 3.0, rel=1e-9)
    assert 0.95 * now < seated < now


def test_a_single_print_gets_its_first_interval_from_a_second() -> None:
    questions, _ = asked({"ash": 1, "bay": 3})
    found = suggest(questions, [Candidate("print", "ash", "st90"), Candidate("seating", "bay", "st90", "bay-2")])
    assert [s.candidate.kind for s in found] == ["print", "seating"]
    narrowing = found[0].narrows[0]
    assert (narrowing.question, narrowing.before) == ("difference", None)
    assert narrowing.after is not None
    assert narrowing.after > 0.0
    assert found[0].bits == pytest.approx(0.5)  # ½ log₂ of two prints over one
    assert (found[0].prints, found[0].seatings, found[1].seatings) == (1, 2, 1)


def test_a_difference_that_is_told_is_no_question() -> None:
    rows = readings({"ash": 3, "bay": 3}, gap=0.3)
    group_of = {r.specimen: str(r.material) for r in rows}
    findings = Findings(campaign="c", made_by="test", readings=tuple(rows))
    questions = Questions(None, {"ash": "Ash", "bay": "Bay"}, differences_of(findings, group_of))
    assert questions.open_gaps() == []
    assert suggest(questions, [Candidate("print", "ash", "st90")])[0].bits == 0.0


def test_figures_are_open_where_a_print_differs_less_than_is_known() -> None:
    solid = coordinates_of(Elastic(2.4e9, 1.9e9, 0.75e9, 0.37, 0.34, 1150.0, 0.03))
    covariance = np.diag([0.01, 0.03, 0.08, 0.02, 0.02, 0.004, 0.01]) ** 2
    told = ("hoop_modulus", "layer_shear_modulus", "axial_modulus", "density")
    known = MaterialKnowledge("fir", None, solid, covariance, identified=told)
    assert open_figures(known) == ("layer_shear_modulus", "axial_modulus", "loss_factor")
