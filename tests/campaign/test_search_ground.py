"""What a search starts from, and what is left out of it with the reason. Oracle: what was put into the tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from barn import EMPTY, WISH

from frusta.campaign.findings import Difference, Reading
from frusta.campaign.package import Package
from frusta.campaign.rows import Take
from frusta.campaign.search_ground import ground_of
from frusta.errors import PackageError
from frusta.material.infer import Inferred
from frusta.material.learned import Learned


def take(material: str, number: int, percent: float, level_db: float) -> Reading:
    key = f"{material}-{number}"
    return Reading(
        take=key, specimen=key, kind="cone", material=material, recipe="walls", profile="st84", session=None, seating=1,
        quality="ok", input_thd_peak_percent=percent, level_db=level_db,
    )  # fmt: skip


def clear(low: float, high: float) -> Difference:
    return Difference(
        figure="input_thd_peak_percent", profile="st84", a="fir", b="ash", ratio=2.0, low_95=low, high_95=high,
        probability_a_higher=0.9, prints_a=2, prints_b=2, seatings=4, sd_print=0.1, sd_seating=0.1,
        scatter_from="these prints", verdict="",
    )  # fmt: skip


def test_distortion_counts_only_where_it_can_honestly_be_had(barn: Package, inferred: Inferred) -> None:
    """Told apart and equally loud: as recorded. Not told, not loud alike, not read: left out, with the reason."""
    row = barn.specimens["fir-1"]
    takes = {key: open_take(key) for key in ("fir-1", "ash-1")}
    package = replace(barn, takes=takes)
    assert row.profile == "st84"
    wish = replace(WISH, weights={"evenness": 1.0, "distortion": 1.0})
    good = EMPTY.model_copy(
        update={"readings": (take("fir", 1, 0.4, 80.0), take("ash", 1, 0.2, 80.3)), "differences": (clear(1.5, 2.6),)}
    )
    ground = ground_of(package, inferred.learned, good, wish)
    assert {f.key: dict(f.fixed or {}) for f in ground.task.filaments} == {
        "fir": {"distortion": 0.4},
        "ash": {"distortion": 0.2},
    }
    for findings, why in (
        (good.model_copy(update={"differences": (clear(0.8, 2.6),)}), "cannot be told apart by it"),
        (good.model_copy(update={"readings": (take("fir", 1, 0.4, 80.0), take("ash", 1, 0.2, 82.0))}), "equally loud"),
        (good.model_copy(update={"readings": (take("fir", 1, 0.4, 80.0),)}), "above its own noise"),
    ):
        ground = ground_of(package, inferred.learned, findings, wish)
        assert "distortion" not in ground.task.goal.used
        assert any("distortion is left out" in words and why in words for words in ground.said)


def open_take(key: str) -> Take:
    return Take(take=key, specimen=key, seating=1, recording=f"{key}.wav", rig="bench")


def test_nothing_recorded_falls_back_on_the_handbook_and_says_so(barn: Package) -> None:
    bare = replace(barn, specimens={})
    ground = ground_of(bare, Learned(), None, WISH)
    assert ground.existing == ()
    assert any("handbook ranges" in words for words in ground.said)
    assert np.isfinite(ground.task.goal.halves["mass"])


def test_without_material_and_profile_there_is_nothing_to_search(barn: Package) -> None:
    with pytest.raises(PackageError, match="needs a material and a profile"):
        ground_of(replace(barn, profiles={}, specimens={}), Learned())
