"""The sheet of a reading: every figure by its key, its uncertainty, or why there is none."""

from __future__ import annotations

import math

from frusta.signal.figure_keys import FIGURES
from frusta.signal.level import Figure

LEVEL_FIGURES = (*FIGURES[:4], "tallest_peak_hz", "tallest_peak_db", "piston_limit_hz")


class Sheet:
    """Figures as they are filled in."""

    def __init__(self) -> None:
        self.figures: dict[str, float | None] = dict.fromkeys(FIGURES)
        self.uncertainties: dict[str, float] = {}
        self.reasons: dict[str, str] = {}

    def put(self, key: str, value: float | None, u: float | None = None, reason: str | None = None) -> None:
        """Write one figure, or why there is none."""
        if value is None or not math.isfinite(value):
            self.reasons[key] = reason or "it cannot be read from this take"
            return
        self.figures[key] = float(value)
        if u is not None and math.isfinite(u):
            self.uncertainties[f"{key}_u"] = float(u)

    def put_figure(self, key: str, figure: Figure, u: float | None = None) -> None:
        """Write a `Figure`."""
        self.put(key, figure.value, u if u is not None else figure.u, figure.reason)

    def refuse(self, reason: str) -> None:
        """Leave every figure that is still open without a value, for one reason."""
        for key, value in self.figures.items():
            if value is None:
                self.reasons.setdefault(key, reason)
