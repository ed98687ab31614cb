"""A forecast as JSON and as words."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.design.cone_modes import ForecastMode
from frusta.design.figures import Interval
from frusta.design.forecast import Forecast

Floats = NDArray[np.float64]

UNITS = {"hz": "Hz", "db": "dB", "ms": "ms", "factor": ""}
SPOKEN = {
    "breakup_hz": "breaks up",
    "breakup_loss_factor": "loss factor there",
    "level_db": "level, 300 Hz to 1 kHz",
    "lower_limit_hz": "lower limit",
    "upper_limit_hz": "upper limit",
    "unevenness_db": "unevenness, ±",
    "tallest_peak_hz": "tallest peak",
    "piston_limit_hz": "leaves the rigid cone",
    "decay_5_percent_ms": "falls to 5 % in",
    "decay_2_percent_ms": "falls to 2 % in",
}


def forecast_document(told: Forecast, profile_key: str, recorded: Sequence[dict[str, Any]] = ()) -> dict[str, Any]:
    """Return a forecast as plain numbers and words.

    Parameters
    ----------
    told : Forecast
    profile_key : str
        Name of the profile.
    recorded : sequence of dict
        Recorded cones of this profile and material: take, frequency_hz, level_db.

    Returns
    -------
    dict
        Figures stand under the keys of a reading, each with ``_low_95`` and ``_high_95``; a null has its reason.
    """
    drawn = told.profile
    document: dict[str, Any] = {
        "format": 1,
        "material": told.material,
        "recipe": told.recipe,
        "profile": profile_key,
        "geometry": {
            "shape": drawn.shape,
            **{
                f"{name}_mm": round(1e3 * getattr(drawn, f"{name}_m"), 6)
                for name in ("neck_radius", "rim_radius", "depth", "bow", "wall")
            },
            "wall_rule": drawn.wall_rule,
            "cap": drawn.cap,
        },
        "mass_g": told.mass_g,
        "mass_g_u": told.mass_g_u,
    }
    reasons: dict[str, str] = {}
    for key, interval in told.figures.items():
        _put(document, reasons, key, interval)
    response = told.response
    document["modes"] = [_mode(mode) for mode in told.modes]
    document["response"] = {
        "level_is": told.level_is,
        "frequency_hz": _numbers(response.frequency_hz, 3),
        "level_db": _numbers(response.level_db, 4),
        "low_95_db": _numbers(response.low_95_db, 4),
        "high_95_db": _numbers(response.high_95_db, 4),
        "rigid_db": _numbers(response.rigid_db, 4),
    }
    made = told.printable
    document["printable"] = {"yes": True, "no": False}.get(made.verdict)
    if made.verdict == "doubtful":
        reasons["printable"] = "between the angle that prints clean and the one that fails: " + "; ".join(made.reasons)
    document["printability"] = {**asdict(made), "reasons": list(made.reasons), "assumed": list(made.assumed)}
    document["assumed"] = list(told.assumed)
    document["recorded"] = list(recorded)
    document["reasons"] = reasons
    return document


def forecast_json(document: dict[str, Any]) -> bytes:
    """Return the document as UTF-8 with one space of indent and arrays on one line each."""
    return (_compact(json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)) + "\n").encode()


def forecast_lines(told: Forecast, profile_key: str) -> list[str]:
    """Return a forecast as lines of words."""
    name = told.material if told.recipe is None else f"{told.material}/{told.recipe}"
    lines = [f"{name} in {profile_key}: {told.mass_g:.2f} g (u {told.mass_g_u:.2f} g) without its coil"]
    for key, words in SPOKEN.items():
        interval = told.figures.get(key)
        if interval is not None:
            lines.append(f"  {words}: {_said(key, interval)}")
    axial = [m for m in told.modes if m.circumferential_order == 0]
    bells = [m for m in told.modes if m.circumferential_order > 0 and m.mode_number == 1]
    lines.append(f"  modes on the axis: {_listed(axial[:6])}")
    lines.append(f"  bell modes, neck held: {_listed(bells, with_order=True)}")
    half = 0.5 * float(np.mean(told.response.high_95_db - told.response.low_95_db))
    lines.append(f"  95 % of prints lie within ±{half:.1f} dB of the response, on average")
    verdict = {
        "yes": "can be printed neck down",
        "no": "cannot be printed neck down",
        "doubtful": "may not print clean",
    }
    lines.append(f"  {verdict[told.printable.verdict]}" + "".join(f"; {r}" for r in told.printable.reasons))
    lines += [f"  assumed: {words}" for words in told.assumed]
    return lines


def _put(document: dict[str, Any], reasons: dict[str, str], key: str, interval: Interval) -> None:
    document[key] = interval.value
    document[f"{key}_low_95"] = interval.low_95
    document[f"{key}_high_95"] = interval.high_95
    if interval.reason is not None:
        for name, value in ((key, interval.value), (f"{key}_low_95", interval.low_95)):
            if value is None:
                reasons[name] = interval.reason
        if interval.high_95 is None:
            reasons[f"{key}_high_95"] = interval.reason


def _mode(mode: ForecastMode) -> dict[str, Any]:
    row = asdict(mode)
    row["reasons"] = {} if mode.prominence_db is not None else {"prominence_db": "an even wall keeps it off the axis"}
    return row


def _numbers(values: Floats, decimals: int) -> list[float | None]:
    return [round(v, decimals) if math.isfinite(v) else None for v in values.tolist()]


def _compact(text: str) -> str:
    """Put every array of plain numbers on one line."""
    lines, out = text.split("\n"), []
    i = 0
    while i < len(lines):
        if lines[i].endswith("[") and i + 1 < len(lines) and _is_number(lines[i + 1]):
            parts = []
            i_end = i + 1
            while _is_number(lines[i_end]):
                parts.append(lines[i_end].strip())
                i_end += 1
            out.append(lines[i] + " ".join(parts) + lines[i_end].strip())
            i = i_end + 1
        else:
            out.append(lines[i])
            i += 1
    return "\n".join(out)


def _is_number(line: str) -> bool:
    text = line.strip().rstrip(",")
    return text == "null" or text.lstrip("-").replace(".", "").replace("e-", "").replace("e+", "").isdigit()


def _said(key: str, interval: Interval) -> str:
    unit = UNITS[key.rsplit("_", 1)[-1]]
    if interval.value is None:
        return f"not had: {interval.reason}"
    text = f"{_short(interval.value)} {unit}".strip()
    if interval.low_95 is not None and interval.high_95 is not None:
        also = f"; {interval.reason}" if interval.reason else ""
        return f"{text} ({_short(interval.low_95)} to {_short(interval.high_95)}{also})"
    if interval.low_95 is not None:
        return f"{text} (from {_short(interval.low_95)}; {interval.reason})"
    return f"{text} ({interval.reason})"


def _short(value: float) -> str:
    """Four significant digits, plainly written."""
    digits = max(0, 3 - math.floor(math.log10(abs(value)))) if value else 0
    return f"{value:.{min(digits, 4)}f}"


def _listed(modes: Sequence[ForecastMode], with_order: bool = False) -> str:
    def one(mode: ForecastMode) -> str:
        order = f"n = {mode.circumferential_order}: " if with_order else ""
        return f"{order}{mode.frequency_hz:.0f} ± {1.96 * mode.frequency_hz_u:.0f} Hz"

    return ", ".join(one(mode) for mode in modes) or "none in the band"
