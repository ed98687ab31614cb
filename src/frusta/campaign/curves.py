"""The curves kept beside a reading: one table a take, in the units of ``curves/TAKE.csv``."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

HARMONICS = ("h2", "h3", "h4", "h5", "buzz")
CURVE_COLUMNS = (
    "frequency_hz",
    "level_db",
    "phase_deg",
    "ungated_db",
    "rigid_db",
    *(f"{name}_db" for name in HARMONICS),
    *(f"{name}_noise_db" for name in HARMONICS),
    *(f"{name}_input_db" for name in HARMONICS),
)
"""Column names of ``curves/TAKE.csv``, in order. Harmonics: dB re the fundamental at the drive frequency."""


@dataclass(frozen=True)
class TakeCurves:
    """All curves of one take; an absent curve is a column of NaN.

    Attributes
    ----------
    table : dict of str to ndarray, shape (n,)
        Every name of `CURVE_COLUMNS`, on one frequency grid of 96 points an octave.
    impulse : ndarray, shape (m,)
        Ungated impulse response, polarity kept, from `impulse_before_s` before the direct sound.
    impulse_before_s : float
        Seconds of `impulse` before the direct sound.
    sample_rate_hz : int
        Sample rate of `impulse` and `envelope_db`.
    envelope_db : ndarray, shape (k,)
        Band-limited Hilbert envelope, dB re its peak; empty where there is none.
    envelope_start_s : float
        Time of the first envelope point, seconds after the direct sound.
    decay_time_ms, decay_frequency_hz : ndarray, shape (p,), (q,)
        Axes of the decay map.
    decay_map_db : ndarray, shape (q, p)
        Level by frequency and time, dB re its largest value; empty where there is none.
    group_delay_ms : ndarray, shape (n,)
        On the table's grid; NaN where it cannot be had.
    reflection_free_s : float
        Seconds after the direct sound at which the gate ends; NaN where no gate was set.
    """

    table: dict[str, NDArray[np.float64]]
    impulse: NDArray[np.float64]
    impulse_before_s: float
    sample_rate_hz: int
    envelope_db: NDArray[np.float64]
    envelope_start_s: float
    decay_time_ms: NDArray[np.float64]
    decay_frequency_hz: NDArray[np.float64]
    decay_map_db: NDArray[np.float64]
    group_delay_ms: NDArray[np.float64]
    reflection_free_s: float = math.nan
