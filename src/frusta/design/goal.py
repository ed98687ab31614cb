"""What the next cone is wanted for: a band, and how much each of seven figures of it weighs.

Each part turns one figure into 0 to 100 points on a scale that does not depend on the other cones: 50 at a named half
value, 80 at twice as good, 20 at half as good. The score is the weighted mean.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.design.figures import Ringing, synthetic_envelope
from frusta.errors import ParameterError
from frusta.signal.decay import decay_time
from frusta.signal.level import RigidResponse, frequency_limits, level_db, piston_limit_hz, unevenness_db

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

PARTS = ("piston limit", "upper limit", "evenness", "decay", "mass", "level", "distortion")
UNITS = {
    "piston limit": "Hz",
    "upper limit": "Hz",
    "evenness": "dB",
    "decay": "ms",
    "mass": "g",
    "level": "dB",
    "distortion": "%",
}
MORE_IS_BETTER = ("piston limit", "upper limit", "level")
WEIGHTS = {
    "piston limit": 25.0,
    "upper limit": 10.0,
    "evenness": 25.0,
    "decay": 15.0,
    "mass": 5.0,
    "level": 15.0,
    "distortion": 5.0,
}
"""Default; open to be changed. Were it not for the level, the smallest cone would always win."""
HALVES = {"evenness": 8.0, "decay": 4.0, "distortion": 0.3}
"""What earns 50 points: what is usual for a good printed cone. The other halves come from the campaign."""
_SHORT = {
    "piston": "piston limit",
    "upper": "upper limit",
    "limit": "upper limit",
    "weight": "mass",
    "even": "evenness",
    "loudness": "level",
}


@dataclass(frozen=True)
class Goal:
    """What the next cone is wanted for.

    Parameters
    ----------
    band_hz : (float, float)
        Where the driver will be used: evenness is read inside.
    weights : mapping of str to float
        By `PARTS`, 0 or more; parts not named weigh nothing.
    halves : mapping of str to float
        What earns 50 points, by part: Hz, ± dB, ms, g, dB, %.

    Raises
    ------
    ParameterError
        If the band is none, a part is unknown, or nothing weighs.
    """

    band_hz: tuple[float, float]
    weights: Mapping[str, float]
    halves: Mapping[str, float]

    def __post_init__(self) -> None:
        low, high = self.band_hz
        if not 0.0 < low < high < math.inf:
            raise ParameterError(f"a band must run from above 0 Hz upwards (got {low:g} to {high:g} Hz)")
        unknown = sorted(set(self.weights) - set(PARTS))
        if unknown or any(not 0.0 <= w < math.inf for w in self.weights.values()) or not sum(self.weights.values()) > 0:
            raise ParameterError(
                f"a goal must weigh {', '.join(PARTS)} by numbers of 0 or more, one of them above 0 "
                f"(got {dict(self.weights)})"
            )
        for part in self.used:
            half = self.halves.get(part)
            if half is None or not (math.isfinite(half) and (half > 0.0 or part == "level")):
                raise ParameterError(f"the {part} must have a value that earns 50 points (got {half})")

    @property
    def used(self) -> tuple[str, ...]:
        """Parts that weigh something."""
        return tuple(part for part in PARTS if self.weights.get(part, 0.0) > 0.0)

    def points(self, part: str, value: float) -> float:
        """Return the points of one figure: 100/(1 + q²), q how many times worse than the half value."""
        half = self.halves[part]
        if part == "level":
            worse = 10.0 ** ((half - value) / 20.0)
        else:
            worse = half / value if part in MORE_IS_BETTER else value / half
        return float(100.0 / (1.0 + worse**2))

    def all_points(self, figures: Mapping[str, float]) -> dict[str, float]:
        """Return the points of every part that weighs."""
        return {part: self.points(part, figures[part]) for part in self.used}

    def score(self, figures: Mapping[str, float]) -> float:
        """Return the weighted mean of the points, 0 to 100."""
        total = sum(self.weights[part] for part in self.used)
        return sum(self.weights[part] * p for part, p in self.all_points(figures).items()) / total

    def without(self, part: str) -> Goal:
        """Return the goal without one part.

        Raises
        ------
        ParameterError
            If nothing else weighs.
        """
        return Goal(self.band_hz, {k: w for k, w in self.weights.items() if k != part}, self.halves)


def read_goal(text: str) -> tuple[dict[str, float], tuple[float, float] | None]:
    """Return weights and band of a goal in words: "upper limit 40, evenness 30, mass 10, band 300-6000".

    Parameters
    ----------
    text : str
        Parts with their weights, apart by commas; ``band LOW-HIGH`` in Hz may be among them. Parts not named weigh
        nothing; a band alone leaves the usual weights.

    Raises
    ------
    ParameterError
        If a piece is neither.

    Examples
    --------
    >>> read_goal("upper=40, evenness 30, band 300-6000")
    ({'upper limit': 40.0, 'evenness': 30.0}, (300.0, 6000.0))
    """
    weights: dict[str, float] = {}
    band = None
    for piece in filter(None, (p.strip().lower() for p in re.split(r"[,;]", text))):
        span = re.fullmatch(r"band[ =:]*([0-9.]+) *(?:-|–|to|:) *([0-9.]+)(?: *hz)?", piece)
        part = re.fullmatch(r"([a-z ]+?)[ =:]+([0-9.]+)", piece)
        name = part[1].strip() if part else ""
        name = _SHORT.get(name, name)
        try:
            if span:
                band = (float(span[1]), float(span[2]))
            elif part and name in PARTS:
                weights[name] = float(part[2])
            else:
                raise ValueError(piece)
        except ValueError:
            raise ParameterError(
                f"a goal must be like 'upper limit 40, evenness 30, mass 10, band 300-6000' with any of "
                f"{', '.join(PARTS)} (got {piece!r})"
            ) from None
    return weights or dict(WEIGHTS), band


def goal_figures(
    frequency_hz: Floats,
    pressure: Complexes,
    delay_s: float,
    stop_hz: float,
    band_hz: tuple[float, float],
    rigid: RigidResponse,
    ringing: Ringing | None = None,
) -> dict[str, float]:
    """Return piston limit, upper limit, evenness, decay and level of a response.

    Parameters
    ----------
    frequency_hz, pressure, delay_s, stop_hz, ringing
        As of `frusta.design.figures.response_figures`.
    band_hz : (float, float)
        In which evenness is read, as far as the sweep goes.
    rigid : RigidResponse
        The same cone, were it rigid.

    Returns
    -------
    dict of str to float
        Hz, Hz; ± dB; ms to 2 %; dB re the unit of pressure. A cone that goes on past the sweep has its end as limit,
        one that rings on past what is computed that as decay.

    Raises
    ------
    ParameterError
        If the response does not cover the piston band, or nothing of the band.
    """
    played = frequency_hz <= stop_hz
    f, power = frequency_hz[played], np.abs(pressure[played]) ** 2
    if f.size == 0 or f[0] > 300.0 or f[-1] < 1000.0:
        raise ParameterError("the sweep must cover 300 Hz to 1 kHz to judge a cone by; sweep wider")
    reference = level_db(f, power)
    found = {"level": reference}
    _, upper = frequency_limits(f, power, reference)
    found["upper limit"] = float(f[-1]) if upper.value is None else upper.value
    found["evenness"] = unevenness_db(f, power, *band_hz)
    piston = piston_limit_hz(f, power, rigid)
    found["piston limit"] = float(f[-1]) if piston.value is None else piston.value
    envelope = synthetic_envelope(frequency_hz, pressure, delay_s, stop_hz, ringing)
    decay = decay_time(envelope, 0.02, float(envelope.time_s[-1]))
    found["decay"] = 1e3 * (float(envelope.time_s[-1]) if decay.time_s is None else max(decay.time_s, 1e-4))
    return found
