"""Means of groups with their intervals. Oracle: ordinary least squares of statsmodels on the print means."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from frusta.campaign.findings import Reading
from frusta.publish.groups import Groups
from frusta.publish.prints import group_means


def readings(values: dict[tuple[str, str], list[float]]) -> list[Reading]:
    rows = []
    for (material, profile), prints in values.items():
        for k, value in enumerate(prints):
            for seating in (1, 2):
                rows.append(
                    Reading(
                        take=f"{material}-{profile}-{k}-{seating}", specimen=f"{material}-{profile}-{k}", kind="cone",
                        material=material, recipe=None, profile=profile, session=None, seating=seating, quality="ok",
                        breakup_hz=value * (1.001 if seating == 1 else 1 / 1.001),
                    )
                )  # fmt: skip
    return rows


def groups(rows: list[Reading]) -> Groups:
    return Groups(rows, SimpleNamespace(specimens={}, materials={}, recipes={}))  # type: ignore[arg-type]


def test_intervals_are_those_of_a_one_way_layout():
    rng = np.random.default_rng(7)
    values = {(m, "p"): list(3000 * (1 + 0.1 * k) * np.exp(rng.normal(0, 0.02, 4))) for k, m in enumerate("abc")}
    rows = readings(values)
    found = {m.group.material: m for m in group_means(rows, groups(rows), "breakup_hz")}
    table = pd.DataFrame([(m, np.log(v)) for (m, _), prints in values.items() for v in prints], columns=["m", "y"])
    limits = smf.ols("y ~ 0 + m", table).fit().conf_int()
    for material, mean in found.items():
        low, high = np.exp(limits.loc[f"m[{material}]"])
        assert mean.low == pytest.approx(low, rel=1e-6)
        assert mean.high == pytest.approx(high, rel=1e-6)


def test_one_print_has_no_interval_and_says_so():
    rows = readings({("a", "p"): [3000.0], ("b", "p"): [2500.0]})
    for mean in group_means(rows, groups(rows), "breakup_hz"):
        assert mean.low is None
        assert mean.reason == "one print each: no interval"


def test_takes_to_repeat_do_not_count_and_nulls_keep_their_reason():
    rows = readings({("a", "p"): [3000.0, 3100.0]})
    spoiled = [r.model_copy(update={"quality": "repeat", "breakup_hz": 9e3}) for r in rows[:2]]
    null = [
        r.model_copy(update={"breakup_hz": None, "material": "b", "reasons": {"breakup_hz": "noise"}}) for r in rows[2:]
    ]
    all_rows = [*spoiled, *rows[2:], *null]
    found = {m.group.material: m for m in group_means(all_rows, groups(all_rows), "breakup_hz")}
    assert found["a"].mean == pytest.approx(3100.0)
    assert found["b"].mean is None
    assert found["b"].reason == "noise"
    assert (found["b"].without, found["b"].takes) == (2, 2)
