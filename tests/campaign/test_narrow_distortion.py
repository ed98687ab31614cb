"""Narrow distortion: constructed curves whose cause is what was put in."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.campaign.blip_candidates import BellForecast, ConeContext
from frusta.campaign.curves import CURVE_COLUMNS, TakeCurves
from frusta.campaign.findings import ModeRow
from frusta.campaign.narrow_distortion import narrow_distortion, weigh_distortion
from frusta.signal.smoothing import log_grid

GRID = log_grid(100.0, 20e3)
BREAKUP_HZ = 3000.0
FLAT_DB = -50.0


def resonance_db(hertz: np.ndarray, at_hz: float, height_db: float, octaves: float = 0.05) -> np.ndarray:
    return np.asarray(height_db * np.exp(-0.5 * (np.log2(hertz / at_hz) / octaves) ** 2))


def curves(
    modes: dict[float, float], made: dict[float, float] | None = None, noise_db: float = -90.0, order: int = 2
) -> TakeCurves:
    """A motor's flat harmonic into a response with modes, and what the cone itself adds to it at drive frequencies."""

    def level(hertz: np.ndarray) -> np.ndarray:
        return np.asarray(sum((resonance_db(hertz, f, db) for f, db in modes.items()), np.zeros(hertz.size)))

    table = {name: np.full(GRID.size, np.nan) for name in CURVE_COLUMNS}
    at_input = FLAT_DB + sum((resonance_db(GRID, f, db, 0.12) for f, db in (made or {}).items()), np.zeros(GRID.size))
    table |= {
        "frequency_hz": GRID,
        "level_db": level(GRID),
        f"h{order}_input_db": at_input,
        f"h{order}_db": at_input + level(order * GRID) - level(GRID),
        f"h{order}_noise_db": np.full(GRID.size, noise_db),
    }
    none = np.zeros(0)
    return TakeCurves(table, np.zeros(16), 0.005, 48000, none, 0.0, none, none, np.zeros((0, 0)), none)


def mode(take: str, hertz: float) -> ModeRow:
    unknown = ("free_frequency_hz", "free_frequency_hz_u", "free_loss_factor", "free_loss_factor_u")
    return ModeRow(
        take=take, mode_number=1, circumferential_order=0, frequency_hz=hertz, frequency_hz_u=1.0, loss_factor=0.03,
        loss_factor_u=0.001, prominence_db=3.0, free_frequency_hz=None, free_frequency_hz_u=None,
        free_loss_factor=None, free_loss_factor_u=None, reasons=dict.fromkeys(unknown, "not asked"),
    )  # fmt: skip


def context(
    specimen: str, seating: int = 1, alike: str = "fir/st", bells: tuple[BellForecast, ...] = ()
) -> ConeContext:
    return ConeContext(specimen, "cone", "bench", seating, alike, bells, BREAKUP_HZ)


def weighed(curve: TakeCurves, own: ConeContext, modes: list[float]):
    found = narrow_distortion("t", curve, BREAKUP_HZ)
    return weigh_distortion(found, {"t": own}, [mode("t", hertz) for hertz in modes])


@pytest.mark.parametrize("order", [2, 3])
def test_a_harmonic_on_a_mode_is_named_with_the_mode(order: int):
    (row,) = weighed(curves({4200.0: 15.0}, order=order), context("a"), [4200.0])
    assert row.harmonic == order
    assert row.frequency_hz == pytest.approx(4200.0 / order, rel=0.01)
    assert row.height_db == pytest.approx(15.0, abs=0.5)
    assert row.candidates[0] == f"harmonic {order} landing on the resonance at 4200 Hz: almost certain"
    assert row.test.startswith("change the level")


def test_what_the_cone_makes_itself_is_left_at_the_input():
    bells = (BellForecast(1, 2500.0, 20.0), BellForecast(2, 1510.0, 15.0))
    (row,) = weighed(curves({}, {1500.0: 12.0}), context("a", bells=bells), [4200.0])
    assert row.candidates[0].startswith("the cone itself, in its bell mode n = 2:")
    assert not any("landing" in words for words in row.candidates)


def test_a_buckling_cone_is_told_though_its_harmonic_lands_on_a_mode_as_well():
    (row,) = weighed(curves({3000.0: 13.0}, {1500.0: 12.0}), context("a"), [3000.0])
    assert not row.candidates[0].startswith("harmonic")


def test_a_landing_on_a_mode_that_was_not_found_says_so():
    (row,) = weighed(curves({4200.0: 15.0}), context("a"), [8000.0])
    assert row.candidates[0].startswith("harmonic 2 landing on a resonance that was not found")


def test_the_rig_is_named_where_other_cones_show_it_too():
    alike = {f"t{k}": context(f"c{k}", alike=f"m{k}") for k in range(5)}
    found = [one for take in alike for one in narrow_distortion(take, curves({}, {1500.0: 12.0}), BREAKUP_HZ)]
    rows = weigh_distortion(found, alike, [])
    assert [row.candidates[0].split(" (")[0] for row in rows] == ["rig"] * 5
    assert "4 of 4 other cones show it" in rows[0].candidates[0]


def test_noise_and_what_lies_above_break_up_are_no_features():
    assert narrow_distortion("t", curves({4200.0: 15.0}, noise_db=-42.0), BREAKUP_HZ) == []
    assert narrow_distortion("t", curves({8000.0: 15.0}), BREAKUP_HZ) == []
    assert narrow_distortion("t", curves({4200.0: 5.0}), BREAKUP_HZ) == []
    assert narrow_distortion("t", curves({4200.0: 15.0}), None) == []


def test_takes_that_bear_no_witness_are_left_out():
    found = narrow_distortion("t", curves({4200.0: 15.0}), BREAKUP_HZ)
    assert weigh_distortion(found, {}, []) == ()


def test_features_of_the_response_carry_no_order():
    (row,) = weighed(curves({4200.0: 15.0}), context("a"), [4200.0])
    assert row.model_dump()["harmonic"] == 2
    assert "harmonic" not in row.model_copy(update={"harmonic": None}).model_dump()
