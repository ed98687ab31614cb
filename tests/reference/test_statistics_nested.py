"""Nested scatter held against certified and published analyses of variance, and against statsmodels."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import scipy
from scipy.stats import f as f_distribution
from scipy.stats import t as student_t

from frusta.campaign.nested import Spread, add_spreads, difference_spread, group_mean, scatter

NIST = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"


def one_way(treatments: list[list[float]]) -> dict:
    """Treatments as prints of one group, replicates as takes of one seating."""
    return {"g": {f"p{k}": {1: values} for k, values in enumerate(treatments)}}


def nist(name: str) -> tuple[list[list[float]], dict[str, float]]:
    """Data and certified values of a StRD file (data from line 61, certified values in the head)."""
    text = (NIST / f"{name}.dat").read_text()
    rows = [line.split() for line in text.splitlines()[60:] if line.strip()]
    treatments: dict[str, list[float]] = {}
    for treatment, value in rows:
        treatments.setdefault(treatment, []).append(float(value))
    between = re.search(r"Between \w+\s+(\d+)\s+(\S+)\s+(\S+)\s+(\S+)", text)
    within = re.search(r"Within \w+\s+(\d+)\s+(\S+)\s+(\S+)", text)
    assert between is not None
    assert within is not None
    certified = {"msb": float(between[3]), "f": float(between[4]), "msw": float(within[3])}
    return list(treatments.values()), certified


# SmLs04 carries six leading digits that are constant: centred as the source advises, 1e-9 remains.
@pytest.mark.parametrize(("name", "rtol"), [("SiRstv", 1e-9), ("AtmWtAg", 1e-7), ("SmLs01", 1e-9), ("SmLs04", 1e-8)])
def test_one_way_certified_by_nist(name, rtol):
    treatments, certified = nist(name)
    centre = treatments[0][0]
    found = scatter(one_way([[value - centre for value in row] for row in treatments]))
    replicates = len(treatments[0])
    assert found.print_square * replicates == pytest.approx(certified["msb"], rel=rtol)
    assert found.take_square == pytest.approx(certified["msw"], rel=rtol)
    assert found.print_square * replicates / found.take_square == pytest.approx(certified["f"], rel=rtol)


TURNIP = [
    [[3.28, 3.09], [3.52, 3.48], [2.88, 2.80]],
    [[2.46, 2.44], [1.87, 1.92], [2.19, 2.19]],
    [[2.77, 2.66], [3.74, 3.44], [2.55, 2.55]],
    [[3.78, 3.87], [4.07, 4.12], [3.31, 3.31]],
]


def test_plants_leaves_determinations():
    """Snedecor & Cochran, Statistical Methods (1967), p. 286: our print, seating, take."""
    found = scatter({"g": {f"p{i}": dict(enumerate(leaves)) for i, leaves in enumerate(TURNIP)}})
    assert (found.print_degrees, found.seating_degrees, found.take_degrees) == (3, 8, 12)
    squares = (found.print_square * 6, found.seating_square * 2, found.take_square)
    assert squares == pytest.approx((2.520115, 0.328775, 0.006654), abs=5.1e-7)
    variances = (found.variance_print, found.variance_seating, found.variance_take)
    assert variances == pytest.approx((0.365223, 0.161060, 0.006654), abs=5.1e-7)
    assert squares[0] / squares[1] == pytest.approx(7.67, abs=0.005)
    assert squares[1] / squares[2] == pytest.approx(49.41, abs=0.005)
    assert f_distribution.sf(squares[0] / squares[1], 3, 8) == pytest.approx(0.0097, abs=5e-5)


DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]


def test_dyestuff_batches():
    """Davies, Statistical Methods in Research and Production (1947); data from memory, confirmed by its table."""
    groups = one_way(DYESTUFF)
    found = scatter(groups)
    assert found.print_square * 5 == pytest.approx(11271.5, abs=1e-6)
    assert found.take_square == pytest.approx(2451.25, abs=1e-6)
    assert np.sqrt([found.variance_print, found.variance_take]) == pytest.approx([42.00, 49.51], abs=0.005)
    assert group_mean(groups["g"]) == pytest.approx(1527.5, abs=1e-9)


def test_days_and_repeats_of_the_guide():
    """JCGM 100:2008 H.5 (from memory, confirmed): the mean's uncertainty is that between days, 18 µV."""
    means = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41.0])
    sds = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]
    pattern = np.array([-2, -1, 0, 1, 2.0]) / np.std([-2, -1, 0, 1, 2.0], ddof=1)
    groups = one_way([list(m + s * pattern) for m, s in zip(means, sds, strict=True)])
    found = scatter(groups)
    assert group_mean(groups["g"]) == pytest.approx(97, abs=0.5)
    assert np.sqrt(found.print_square) == pytest.approx(57, abs=0.5)
    assert np.sqrt(found.take_square) == pytest.approx(85, abs=0.5)
    assert 5 * found.print_square / found.take_square == pytest.approx(2.26, abs=0.005)
    assert np.sqrt(found.variance_print) == pytest.approx(43, abs=0.5)
    spread = difference_spread(found, groups, [groups["g"]])
    assert np.sqrt(spread.variance) == pytest.approx(18, abs=0.5)
    assert spread.degrees == 9


def test_runs_places_wafers_of_the_handbook():
    """NIST/SEMATECH e-Handbook 3.5.1.4: 571.659 = 2 Var(place) + Var(within), 120.893 = Var(within) → 225.383.

    Its data are not printed there; random ones are scaled to those mean squares.
    """
    rng = np.random.default_rng(7)
    place = rng.standard_normal((21, 4))
    place -= place.mean(axis=1, keepdims=True)
    place *= np.sqrt(571.659 / 2 / (np.sum(place**2) / 63))
    wafer = rng.standard_normal((21, 4))
    wafer *= np.sqrt(120.893 / (2 * np.sum(wafer**2) / 84))
    data = place[:, :, None] + np.stack([wafer, -wafer], axis=2)
    found = scatter({"g": {f"run{i}": dict(enumerate(map(list, run))) for i, run in enumerate(data)}})
    assert found.seating_square * 2 == pytest.approx(571.659, rel=1e-9)
    assert found.variance_take == pytest.approx(120.893, rel=1e-9)
    assert found.variance_seating == pytest.approx(225.383, abs=5.1e-4)


def test_degrees_of_freedom_of_the_end_gauge():
    """JCGM 100:2008 H.1: 32 nm with 16 degrees of freedom, U99 93 nm (components from memory)."""
    total = Spread(25.0**2, 18)
    for u, degrees in ((9.7, 25.6), (2.9, 50), (16.6, 2)):
        total = add_spreads(total, Spread(u**2, degrees))
    assert np.sqrt(total.variance) == pytest.approx(32, abs=0.5)
    at_once = total.variance**2 / (25.0**4 / 18 + 9.7**4 / 25.6 + 2.9**4 / 50 + 16.6**4 / 2)
    assert total.degrees == pytest.approx(at_once, rel=1e-9)
    assert int(total.degrees) == 16
    assert 32 * student_t.ppf(0.995, 16) == pytest.approx(93, abs=0.6)


def test_components_equal_restricted_maximum_likelihood():
    """Oracle: statsmodels MixedLM (REML), which in balanced data with positive components gives the same."""
    import pandas
    import statsmodels.regression.mixed_linear_model as mixed

    rng = np.random.default_rng(11)
    rows = []
    for g in range(3):
        for p in range(6):
            of_print = rng.normal(0, 4.0)
            for s in range(3):
                of_seating = rng.normal(0, 2.0)
                rows += [(f"g{g}", f"g{g}p{p}", s, g + of_print + of_seating + rng.normal(0, 1.0)) for _ in range(3)]
    frame = pandas.DataFrame(rows, columns=["group", "print", "seating", "y"])
    fit = mixed.MixedLM.from_formula(
        "y ~ 0 + group", frame, groups="print", re_formula="1", vc_formula={"seating": "0 + C(seating)"}
    ).fit(reml=True, gtol=1e-8)
    groups: dict = {}
    for g, p, s, y in rows:
        groups.setdefault(g, {}).setdefault(p, {}).setdefault(s, []).append(y)
    found = scatter(groups)
    assert found.variance_print == pytest.approx(float(fit.cov_re.iloc[0, 0]), rel=2e-3)
    assert found.variance_seating == pytest.approx(float(fit.vcomp[0]), rel=2e-3)
    assert found.variance_take == pytest.approx(float(fit.scale), rel=2e-3)
    spread = difference_spread(found, groups, [groups["g0"]])
    assert np.sqrt(spread.variance) == pytest.approx(float(fit.bse_fe.iloc[0]), rel=2e-3)
