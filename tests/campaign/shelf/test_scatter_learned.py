"""Scatter learned from a shelf. Oracle: the standard deviations that the made-up prints were drawn with."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frusta.campaign.differences import find_differences
from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Findings, Reading
from frusta.campaign.shelf.scatter_learned import learn_from, learn_scatter, lent

PRINT_SD, SEATING_SD = 0.012, 0.004


def reading(specimen: str, material: str, seating: int, breakup_hz: float, profile: str = "st80") -> Reading:
    return Reading(
        take=f"{specimen}-{seating}",
        specimen=specimen,
        kind="cone",
        material=material,
        recipe="walls",
        profile=profile,
        session="s1",
        seating=seating,
        breakup_hz=breakup_hz,
        quality="ok",
    )


def campaign(name: str, seed: int, groups: int = 12, prints: int = 3, seatings: int = 2) -> Findings:
    rng = np.random.default_rng(seed)
    rows = []
    for group in range(groups):
        for number in range(prints):
            own = 3000 * math.exp(0.1 * group + PRINT_SD * rng.standard_normal())
            rows += [
                reading(f"{name}-{group}-{number}", f"m{group}", s, own * math.exp(SEATING_SD * rng.standard_normal()))
                for s in range(1, seatings + 1)
            ]
    return Findings(campaign=name, made_by="test", readings=tuple(rows))


def test_scatter_is_what_was_put_in():
    """240 degrees of freedom: a standard deviation is known to 1/√480 = 4.6 %, three of these are allowed."""
    found = learn_from([campaign(f"c{k}", k) for k in range(10)])["breakup_hz"]
    assert found.scatter.print_degrees == 240
    assert math.sqrt(found.scatter.variance_print) == pytest.approx(PRINT_SD, rel=0.14)
    assert math.sqrt(found.scatter.variance_seating) == pytest.approx(SEATING_SD, rel=0.14)
    assert (found.prints, found.groups) == (360, 120)
    borrowed = lent({"breakup_hz": found})["breakup_hz"]
    assert borrowed.sd_print == pytest.approx(math.hypot(PRINT_SD, SEATING_SD / math.sqrt(2)), rel=0.14)
    assert borrowed.degrees == 240


def test_a_cone_in_two_campaigns_counts_once():
    one = campaign("c", 1, groups=4)
    again = one.model_copy(update={"campaign": "later"})
    assert repr(learn_from([one, again])["breakup_hz"]) == repr(learn_from([one])["breakup_hz"])  # nan is not nan


def test_other_rigs_do_not_pass_for_scatter():
    one = campaign("c", 1, groups=4)
    louder = [
        r.model_copy(update={"breakup_hz": r.breakup_hz * 1.2, "specimen": f"x{r.specimen}"}) for r in one.readings
    ]
    other = Findings(campaign="other", made_by="test", readings=tuple(louder))
    both = learn_from([one, other])["breakup_hz"].scatter
    assert both.print_square == pytest.approx(learn_from([one])["breakup_hz"].scatter.print_square)


def test_single_prints_borrow_and_say_so():
    shelf = lent(learn_from([campaign("c", 1)]))
    rows = [reading("a-1", "ash", 1, 3300.0), reading("b-1", "bay", 1, 3000.0)]
    (alone,) = find_differences(rows, {"a-1": "ash", "b-1": "bay"}, figures=[FIGURE["breakup_hz"]])
    assert (alone.scatter_from, alone.low_95) == ("none", None)
    (found,) = find_differences(rows, {"a-1": "ash", "b-1": "bay"}, shelf=shelf, figures=[FIGURE["breakup_hz"]])
    assert found.scatter_from == "this shelf"
    assert found.low_95 < 1.1 < found.high_95
    assert "borrowed from your shelf" in found.verdict


def test_the_borrower_is_not_its_own_witness(shelf, maker_package):
    shelf.add(maker_package)
    findings = campaign("two-jars", 1)
    assert shelf.keep_findings("two-jars", shelf.contents("two-jars").content, findings)
    assert repr(learn_scatter(shelf)["breakup_hz"]) == repr(learn_from([findings])["breakup_hz"])
    assert learn_scatter(shelf, ["two-jars"]) == {}
