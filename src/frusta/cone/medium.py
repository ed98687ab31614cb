"""Air at the bench: speed of sound, density, and how much it swallows on the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

FloatArray = NDArray[np.float64]

_ZERO_CELSIUS_K = 273.15
_REFERENCE_K = 293.15
_TRIPLE_K = 273.16
_STANDARD_PA = 101325.0
_GAS_DRY = 287.058  # J/(kg K), dry air
_GAS_VAPOUR = 461.495  # J/(kg K), water vapour


@dataclass(frozen=True)
class Medium:
    """A gas: ``sound_speed_m_s`` and ``density_kg_m3``, both > 0."""

    sound_speed_m_s: float
    density_kg_m3: float

    def __post_init__(self) -> None:
        if not (self.sound_speed_m_s > 0.0 and self.density_kg_m3 > 0.0):
            raise ParameterError(
                "sound_speed_m_s and density_kg_m3 must be positive "
                f"(got {self.sound_speed_m_s:g} and {self.density_kg_m3:g})"
            )

    @property
    def impedance_pa_s_m(self) -> float:
        """Characteristic impedance ρc, Pa·s/m."""
        return self.density_kg_m3 * self.sound_speed_m_s


def air_at(temperature_c: float = 20.0, humidity_pct: float | None = None, pressure_pa: float = _STANDARD_PA) -> Medium:
    """Return air at a bench.

    Parameters
    ----------
    temperature_c : float
        −40 to 60 °C.
    humidity_pct : float, optional
        Relative, 0 to 100; None is taken as dry (the density is then 0.4 % high at 20 °C, 50 %).
    pressure_pa : float
        Static pressure.

    Returns
    -------
    Medium
        Speed 343.2·√(T/293.15 K) m/s (ISO 9613-1), humidity left out there (+0.1 % at 20 °C, 50 %);
        density of an ideal gas of dry air and vapour.

    Raises
    ------
    ParameterError
        If an argument is out of range.

    Examples
    --------
    >>> air_at(25.0).sound_speed_m_s.__round__(2), air_at().density_kg_m3.__round__(4)
    (346.11, 1.2041)
    """
    if not -40.0 <= temperature_c <= 60.0:
        raise ParameterError(f"temperature_c must lie in -40 to 60 °C (got {temperature_c:g})")
    humidity = 0.0 if humidity_pct is None else humidity_pct
    _check_humidity(humidity)
    if not 3e4 <= pressure_pa <= 1.2e5:
        raise ParameterError(f"pressure_pa must lie in 30000 to 120000 Pa (got {pressure_pa:g})")
    kelvin = temperature_c + _ZERO_CELSIUS_K
    vapour = 0.01 * humidity * _saturation_pa(kelvin)
    density = (pressure_pa - vapour) / (_GAS_DRY * kelvin) + vapour / (_GAS_VAPOUR * kelvin)
    return Medium(343.2 * float(np.sqrt(kelvin / _REFERENCE_K)), density)


def absorption_db_m(
    frequency_hz: FloatArray | float,
    temperature_c: float = 20.0,
    humidity_pct: float = 50.0,
    pressure_pa: float = _STANDARD_PA,
) -> FloatArray:
    """Return the pure-tone attenuation of air, dB/m, shape of ``frequency_hz``.

    0.05 dB over 0.1 m at 20 kHz, 20 °C, 50 %: left out on the bench, and said so.

    Parameters
    ----------
    frequency_hz : ndarray or float
        Exact midband frequencies, Hz.
    temperature_c, humidity_pct, pressure_pa : float
        The air.

    References
    ----------
    ISO 9613-1:1993, equations 3 to 5 and annex B (from memory, held against its printed table).
    """
    _check_humidity(humidity_pct)
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    kelvin = temperature_c + _ZERO_CELSIUS_K
    relative = pressure_pa / _STANDARD_PA
    vapour = humidity_pct * _saturation_pa(kelvin) / pressure_pa  # molar concentration, %
    ratio = kelvin / _REFERENCE_K
    oxygen = relative * (24.0 + 4.04e4 * vapour * (0.02 + vapour) / (0.391 + vapour))
    nitrogen = relative / np.sqrt(ratio) * (9.0 + 280.0 * vapour * np.exp(-4.170 * (ratio ** (-1 / 3) - 1.0)))
    relaxation = ratio**-2.5 * (
        0.01275 * np.exp(-2239.1 / kelvin) / (oxygen + frequency**2 / oxygen)
        + 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen + frequency**2 / nitrogen)
    )
    classical = 1.84e-11 / relative * np.sqrt(ratio)
    return np.asarray(8.686 * frequency**2 * (classical + relaxation))


def _saturation_pa(kelvin: float) -> float:
    return float(_STANDARD_PA * 10.0 ** (-6.8346 * (_TRIPLE_K / kelvin) ** 1.261 + 4.6151))


def _check_humidity(humidity_pct: float) -> None:
    if not 0.0 <= humidity_pct <= 100.0:
        raise ParameterError(f"humidity_pct must lie in 0 to 100 (got {humidity_pct:g})")
