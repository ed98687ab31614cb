"""The rig that would record a cone that does not exist yet."""

from __future__ import annotations

import math
from dataclasses import dataclass

from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.medium import Medium
from frusta.errors import ParameterError


@dataclass(frozen=True)
class ForecastRig:
    """Everything but the cone, with what is uncertain of it.

    Parameters
    ----------
    motor : Motor
    coil : Coil
        The one that the cone would carry: the mean of the campaign's.
    bench : Bench
    medium : Medium
    start_hz, stop_hz : float
        Of the campaign's sweep.
    drive_peak_v : float or None
        Peak voltage at the coil during the sweep; None gives levels relative to 1 Pa per volt.
    coil_mass_sd, coil_resistance_sd : float
        Relative, from coil to coil.
    air_sd : float
        Relative, of the air's density: weather.
    level_sd_db : float
        Of the level as a whole: calibration, motor's constants, seating.
    assumed : tuple of str
        Constants that no table names, as sentences.
    """

    motor: Motor
    coil: Coil
    bench: Bench
    medium: Medium
    start_hz: float = 20.0
    stop_hz: float = 20e3
    drive_peak_v: float | None = None
    coil_mass_sd: float = 0.005
    coil_resistance_sd: float = 0.01
    air_sd: float = 0.01
    level_sd_db: float = 0.20
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not 0.0 < self.start_hz < self.stop_hz < math.inf:
            raise ParameterError(
                f"start_hz must be above 0 and below stop_hz (got {self.start_hz:g} and {self.stop_hz:g} Hz)"
            )
        if self.drive_peak_v is not None and not self.drive_peak_v > 0.0:
            raise ParameterError(f"drive_peak_v must be positive (got {self.drive_peak_v:g} V)")
        for name in ("coil_mass_sd", "coil_resistance_sd", "air_sd", "level_sd_db"):
            value = getattr(self, name)
            if not 0.0 <= value < 10.0:
                raise ParameterError(f"{name} must be 0 or a small positive number (got {value})")
