"""A shelf of any size, of made-up rows: campaigns of 25 cones, four takes each, with readings and modes; no sound."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from frusta.campaign.findings import Findings, ModeRow, Reading
from frusta.campaign.shelf.contents import Cells, Contents
from frusta.campaign.shelf.store import Shelf

SPECIMENS, SEATINGS, MODES = 25, 4, 4
TAKES = SPECIMENS * SEATINGS
MATERIALS = ("rush", "sedge", "fern", "heather", "gorse")


def make_shelf(folder: Path, campaigns: int) -> Shelf:
    """Write the rows of so many campaigns; every one holds the same cones, a month after the one before."""
    shelf = Shelf(folder / "shelf.sqlite", now=lambda: datetime(2026, 6, 1, tzinfo=UTC))
    for number in range(campaigns):
        name = f"campaign-{number:03d}"
        contents = Contents(_rows(name, number), {f"recordings/{t}.wav": _file(name, t) for t in _takes()})
        with shelf.database.write() as connection:
            shelf._put(connection, name, contents, "made up", new=True)
        shelf.keep_findings(name, shelf.contents(name).content, _findings(name, number))
    return shelf


def _takes() -> list[str]:
    return [f"cone-{s:02d}-s{k}" for s in range(SPECIMENS) for k in range(1, SEATINGS + 1)]


def _file(name: str, take: str) -> tuple[str, int]:
    return hashlib.sha256(f"{name} {take}".encode()).hexdigest(), 1_000_000


def _rows(name: str, number: int) -> dict[str, list[Cells]]:
    day = date(2020, 1, 15) + timedelta(days=30 * number)
    specimens: list[Cells] = [
        {
            "specimen": f"cone-{s:02d}",
            "kind": "check" if s == 0 else "cone",
            "material": MATERIALS[s % 5],
            "recipe": "two",
        }
        | {"profile": "st80", "mass_g": 5.0 + 0.01 * s}
        for s in range(SPECIMENS)
    ]
    takes: list[Cells] = [
        {"take": t, "specimen": t[:7], "session": "s1", "sweep": "short", "seating": int(t[-1])}
        | {"recording": f"recordings/{t}.wav"}
        for t in _takes()
    ]
    profile: Cells = {"profile": "st80", "shape": "straight", "neck_radius_mm": 13.0, "rim_radius_mm": 40.0}
    return {
        "campaign": [{"campaign": name, "title": f"Campaign {number}"}],
        "materials": [{"material": m, "name": m.title(), "polymer": "PLA"} for m in MATERIALS],
        "recipes": [{"recipe": "two"}],
        "profiles": [profile | {"depth_mm": 24.0, "bow_mm": 0.0, "wall_mm": 0.8}],
        "rigs": [{"rig": "jetty", "mounting": "free", "microphone_distance_mm": 150.0, "full_scale_pa": 40.0}],
        "sessions": [{"session": "s1", "rig": "jetty", "date": day.isoformat(), "temperature_c": 21.0}],
        "sweeps": [{"sweep": "short", "start_hz": 50.0, "stop_hz": 16000.0, "duration_s": 1.0}],
        "specimens": specimens,
        "takes": takes,
        "history": [{"specimen": "cone-01", "date": day.isoformat(), "event": "annealed"}] if number % 3 == 0 else [],
    }


def _findings(name: str, number: int) -> Findings:
    rng = np.random.default_rng(number)
    readings, modes = [], []
    for take in _takes():
        s = int(take[5:7])
        first_hz = (3000 + 40 * s) * float(np.exp(0.003 * rng.standard_normal()))
        identity = {
            "take": take,
            "specimen": take[:7],
            "kind": "check" if s == 0 else "cone",
            "material": MATERIALS[s % 5],
        }
        identity |= {"recipe": "two", "profile": "st80", "session": "s1"}
        figures = {"level_db": 84 + 0.1 * float(rng.standard_normal()), "breakup_hz": first_hz, "snr_db": 60.0}
        readings.append(Reading.model_validate({**identity, "seating": int(take[-1]), **figures, "quality": "ok"}))
        for order in range(MODES):
            frequency_hz = first_hz * (1 + 0.35 * order)
            values = {"take": take, "mode_number": order + 1, "circumferential_order": 0, "frequency_hz": frequency_hz}
            values |= {"frequency_hz_u": 1.0, "loss_factor": 0.02, "loss_factor_u": 2e-4, "prominence_db": 6.0}
            modes.append(ModeRow.model_validate(values))
    return Findings(campaign=name, made_by="frusta 0.1.0", readings=tuple(readings), modes=tuple(modes))
