"""What a virtual take really is: its poles, break-up, level and clock, for those who check the readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from frusta.bench.virtual_campaign import PlannedTake, VirtualCampaign
from frusta.cone.driver import response
from frusta.cone.poles import find_poles

BREAKUP_FROM_HZ = 1000.0
BREAKUP_PROMINENCE_DB = -12.0


@dataclass(frozen=True)
class TrueMode:
    """A pole as recorded: frequency √(Re λ)/2π, loss factor Im λ/Re λ, its own contribution over the rest."""

    frequency_hz: float
    loss_factor: float
    prominence_db: float


@dataclass(frozen=True)
class TakeTruth:
    """The truth behind one take.

    Parameters
    ----------
    take, specimen : str
    mishap : str or None
    clock_ppm : float
    modes : tuple of TrueMode
        Between 200 Hz and the sweep's end, rising.
    breakup : TrueMode or None
        The lowest above 1 kHz whose own contribution is at least −12 dB of the rest.
    level_db : float
        300 Hz to 1 kHz, re 20 µPa rms at the sweep's level and drive gain 0 dB, without seating scatter or drift.
    """

    take: str
    specimen: str
    mishap: str | None
    clock_ppm: float
    modes: tuple[TrueMode, ...]
    breakup: TrueMode | None
    level_db: float


def truth_of(campaign: VirtualCampaign, planned: PlannedTake) -> TakeTruth:
    """Return the truth behind a planned take.

    Parameters
    ----------
    campaign : VirtualCampaign
    planned : PlannedTake
        A swept one.
    """
    conditions = campaign.conditions_of(planned)
    driver = campaign.rig.driver(planned.specimen, planned.seating, conditions)
    top = min(campaign.sweep.stop_hz, 0.98 * driver.top_hz)
    poles = find_poles(driver, 200.0, top)
    frequency = poles.frequency_hz
    whole = response(driver, frequency)
    own = np.diagonal(poles.contributions(frequency))
    prominence = 20.0 * np.log10(np.abs(own) / np.maximum(np.abs(whole - own), 1e-300))
    modes = tuple(
        TrueMode(float(f), float(loss), float(p))
        for f, loss, p in zip(frequency, poles.loss_factor, prominence, strict=True)
    )
    grid = np.geomspace(300.0, 1000.0, 400)
    volts = campaign.rig.bench.drive_full_scale_v * campaign.sweep.amplitude / np.sqrt(2.0)
    power = np.mean(np.abs(response(driver, grid)) ** 2) * volts**2
    breakup = next(
        (m for m in modes if m.frequency_hz > BREAKUP_FROM_HZ and m.prominence_db >= BREAKUP_PROMINENCE_DB), None
    )
    return TakeTruth(
        planned.take,
        planned.specimen,
        planned.mishap,
        conditions.clock_ppm,
        modes,
        breakup,
        float(10.0 * np.log10(power / 4e-10)),
    )
