"""The figures of a computed response, as a reading would draw them from a recording of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import CubicSpline

from frusta.signal.decay import Envelope, analytic_band, decay_time
from frusta.signal.level import Figure, frequency_limits, level_db, tallest_peak, unevenness_db

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

UNEVENNESS_FROM_HZ = 200.0
RESPONSE_FIGURES = (
    "level_db",
    "lower_limit_hz",
    "upper_limit_hz",
    "unevenness_db",
    "tallest_peak_hz",
    "tallest_peak_db",
    "decay_5_percent_ms",
    "decay_2_percent_ms",
)
_RATE_HZ = 48000
_SAMPLES = 8192  # 171 ms
_BEFORE = 960
Ringing = Callable[[Floats], Complexes]


def response_figures(
    frequency_hz: Floats, pressure: Complexes, delay_s: float, stop_hz: float, ringing: Ringing | None = None
) -> dict[str, Figure]:
    """Return the figures that a linear response has.

    Parameters
    ----------
    frequency_hz : ndarray (n,)
        96 points an octave, to 1.1 × stop or as far as the model goes.
    pressure : ndarray (n,) of complex
        In units of 20 µPa for a `level_db` in dB re 20 µPa.
    delay_s : float
        About the sound's travel.
    stop_hz : float
        Last frequency of the sweep.
    ringing : callable, optional
        The part of the response that is resonances, in closed form: frequencies (Hz) to pressure. Without it a mode
        that rings longer than about 10 ms reads too short, as a grid of 96 points an octave blurs it.

    Returns
    -------
    dict of str to Figure
        By `RESPONSE_FIGURES`; those that cannot be had have their reason.
    """
    played = frequency_hz <= stop_hz
    f, power = frequency_hz[played], np.abs(pressure[played]) ** 2
    found: dict[str, Figure] = {}
    if f[0] > 300.0 or f[-1] < 1000.0:
        reason = "the sweep does not cover 300 Hz to 1 kHz"
        return {key: Figure(None, None, reason) for key in RESPONSE_FIGURES}
    reference = level_db(f, power)
    found["level_db"] = Figure(reference)
    found["lower_limit_hz"], found["upper_limit_hz"] = frequency_limits(f, power, reference)
    top = found["upper_limit_hz"].value or float(f[-1])
    found["unevenness_db"] = Figure(unevenness_db(f, power, UNEVENNESS_FROM_HZ, top))
    found["tallest_peak_hz"], found["tallest_peak_db"] = tallest_peak(f, power, float(f[-1]))
    envelope = synthetic_envelope(frequency_hz, pressure, delay_s, stop_hz, ringing)
    for percent in (5, 2):
        decay = decay_time(envelope, 0.01 * percent, float(envelope.time_s[-1]))
        value = None if decay.time_s is None else 1e3 * decay.time_s
        found[f"decay_{percent}_percent_ms"] = Figure(value, None, decay.reason)
    return found


def synthetic_envelope(
    frequency_hz: Floats, pressure: Complexes, delay_s: float, stop_hz: float, ringing: Ringing | None = None
) -> Envelope:
    """Return the envelope of the impulse response that belongs to a response, in the band of the decay figures.

    The travel and the resonances are taken out, the smooth rest is interpolated to even frequencies, both are put
    back; above the last frequency there is nothing. Parameters as of `response_figures`.
    """
    bins = fft.rfftfreq(_SAMPLES, 1.0 / _RATE_HZ)
    inside = (bins >= frequency_hz[0]) & (bins <= frequency_hz[-1])
    even = bins[inside]
    smooth = pressure if ringing is None else pressure - ringing(frequency_hz)
    smooth = smooth * np.exp(2j * np.pi * frequency_hz * delay_s)
    values = CubicSpline(np.log(frequency_hz), smooth)(np.log(even))
    if ringing is not None:
        values = values + ringing(even) * np.exp(2j * np.pi * even * delay_s)
    spectrum = np.zeros(bins.size, dtype=np.complex128)
    spectrum[inside] = values
    impulse = np.roll(fft.irfft(spectrum, _SAMPLES), _BEFORE)
    envelope = np.abs(analytic_band(impulse, _RATE_HZ, stop_hz))
    envelope = envelope[: -_BEFORE // 2]
    time_s = (np.arange(envelope.size) - _BEFORE) / _RATE_HZ
    return Envelope(time_s, envelope, int(np.argmax(envelope)), 0.0)


def quantiles_95(drawn: Floats) -> tuple[Floats, Floats]:
    """Return the 2.5 % and 97.5 % quantiles over the first axis.

    By the midpoint rule (Hazen): draw i of n stands for the probability (i − 1/2)/n, as it was drawn.
    """
    low, high = np.quantile(drawn, [0.025, 0.975], axis=0, method="hazen")
    return low, high


@dataclass(frozen=True)
class Interval:
    """A forecast figure: the expected value and where 95 % of prints lie; None with the reason.

    Attributes
    ----------
    value, low_95, high_95 : float or None
        A bound that lies out of reach is None, and `reason` says so.
    reason : str or None
    """

    value: float | None
    low_95: float | None = None
    high_95: float | None = None
    reason: str | None = None


def interval_of(expected: Figure, drawn: list[Figure]) -> Interval:
    """Return the interval of the draws round an expected figure.

    From the 2.5 % to the 97.5 % quantile (`quantiles_95`), the expected value always inside.
    """
    if expected.value is None:
        return Interval(None, reason=expected.reason)
    values = [figure.value for figure in drawn if figure.value is not None]
    missing = len(drawn) - len(values)
    if not values:
        return Interval(expected.value, reason="no draw has this figure, so there is no interval")
    low, high = (float(v) for v in quantiles_95(np.array(values)))
    low, high = min(low, expected.value), max(high, expected.value)
    if missing > 0.025 * len(drawn):
        why = next(figure.reason for figure in drawn if figure.value is None)
        return Interval(expected.value, low, None, f"open above: {missing} of {len(drawn)} possible prints: {why}")
    return Interval(expected.value, low, high)
