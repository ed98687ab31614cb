"""Looks at made-up specimens whose ratios are put in by hand."""

from __future__ import annotations

import math

import numpy as np

from frusta.campaign.findings import ModeRow, Reading
from frusta.campaign.rows import HistoryEvent, Rig, Session, Specimen
from frusta.campaign.shelf.look import Look

NAMES = ("pear-1", "pear-2", "plum-1", "plum-2", "fig-1", "check-1")
MODES_HZ = (2310.0, 3240.0, 4110.0, 5430.0, 7220.0, 9410.0, 12100.0)


def look(
    name: str,
    year: int,
    seed: int,
    *,
    frequency: dict[str, float] | None = None,
    loss: dict[str, float] | None = None,
    mass: dict[str, float] | None = None,
    every: float = 1.0,
    first: float = 1.0,
    level_db: float = 0.0,
    temperature_c: float = 20.0,
    names: tuple[str, ...] = NAMES,
    seatings: int = 2,
    history: tuple[HistoryEvent, ...] = (),
    joint_sd: float = 2e-3,
) -> Look:
    """A look with stated ratios; seatings scatter by `joint_sd` in first modes and a fifth of it above."""
    rng = np.random.default_rng(seed)
    readings, modes, rig_of = [], [], {}
    for n, specimen in enumerate(names):
        for seating in range(1, seatings + 1):
            take = f"{specimen}-{seating}"
            rig_of[take] = "bench"
            scatter = joint_sd * rng.standard_normal()
            rows = []
            for k, base in enumerate(MODES_HZ):
                own = base * (1 + 0.03 * n) * (frequency or {}).get(specimen, 1.0) * every
                own *= (first if k == 0 else 1.0) * math.exp(scatter * (1.0 if k == 0 else 0.2))
                eta = 0.03 * (loss or {}).get(specimen, 1.0) * math.exp(0.004 * rng.standard_normal())
                own *= math.exp(1e-4 * rng.standard_normal())
                rows.append(
                    ModeRow(
                        take=take,
                        mode_number=k + 1,
                        circumferential_order=0,
                        frequency_hz=own,
                        frequency_hz_u=1e-4 * own,
                        loss_factor=eta,
                        loss_factor_u=0.004 * eta,
                        prominence_db=0.0,
                    )
                )
            modes += rows
            readings.append(
                Reading(
                    take=take,
                    specimen=specimen,
                    kind="check" if specimen.startswith("check") else "cone",
                    material=None,
                    recipe=None,
                    profile=None,
                    session="s1",
                    seating=seating,
                    level_db=80.0 + n + level_db + 0.1 * rng.standard_normal(),
                    breakup_hz=rows[0].frequency_hz,
                    quality="ok",
                )
            )
    return Look(
        name=name,
        specimens={
            s: Specimen(specimen=s, kind="check" if s.startswith("check") else "cone", printed_on="2025-12-01")
            for s in names
        },
        sessions={"s1": Session(session="s1", rig="bench", date=f"{year}-05-01", temperature_c=temperature_c)},
        rigs={"bench": Rig(rig="bench", mounting="free", microphone_distance_mm=100.0)},
        history=history,
        readings=readings,
        modes=modes,
        rig_of=rig_of,
        absolute=True,
        mass_kg={s: (0.008 * (mass or {}).get(s, 1.0), 1e-5) for s in names},
    )
