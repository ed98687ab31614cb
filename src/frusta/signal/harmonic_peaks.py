"""The peaks of distortion that a reading quotes, each only where it stands clear of its own noise."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.signal.harmonics import ROOM_TAIL, SHORT_SWEEP, SMOOTHING, HarmonicCurve, Harmonics

Floats = NDArray[np.float64]

LOWEST_HZ = 200.0
CLEAR_DB = 10.0
"""How far distortion must stand over its own noise floor to be called distortion."""


ALIKE = 3.0
"""The highest of many alike places stands as many standard deviations above another: either may be the true peak."""


STRONG_DB = 20.0
"""How far orders must stand over their own noise where others are left out: chance then adds a tenth at most."""

HIDDEN = 2.0
"""Standard deviations of all orders that what is found must exceed where some orders are left out."""


@dataclass(frozen=True)
class DistortionPeak:
    """The largest distortion in a range of drive frequencies, % of the fundamental, or None with the reason."""

    percent: float | None
    percent_u: float | None
    frequency_hz: float | None
    reason: str | None
    frequency_hz_u: float | None = None


@dataclass(frozen=True)
class DistortionPeaks:
    """The four peaks of a reading: at the microphone, in the piston band, input-referred, and the buzz."""

    thd: DistortionPeak
    piston_thd: DistortionPeak
    input_thd: DistortionPeak
    buzz: DistortionPeak

    def named(self) -> dict[str, DistortionPeak]:
        """Return the peaks by the stem of their keys in a reading."""
        return {
            "thd_peak": self.thd,
            "piston_thd_peak": self.piston_thd,
            "input_thd_peak": self.input_thd,
            "buzz_peak": self.buzz,
        }


def distortion_peaks(harmonics: Harmonics, breakup_hz: float | None, gates: Floats | None = None) -> DistortionPeaks:
    """Return the distortion peaks that a reading quotes.

    Total harmonic distortion here is orders 2 to 5 over the fundamental at the same drive frequency (THD_F); IEC
    60268-5 divides by the total instead: see `total_referred`.

    Parameters
    ----------
    harmonics : Harmonics
        From `frusta.signal.harmonics.read_harmonics`.
    breakup_hz : float or None
        Where the cone breaks up, Hz; the piston band ends at half of it.
    gates : ndarray, shape (gates, m), optional
        Magnitude of the linear response with other gates over that with the chosen one, on the grid of the harmonics:
        how much the response at the microphone depends on the gate.

    Returns
    -------
    DistortionPeaks
    """
    top = harmonics.stop_hz / 2.0
    gates = np.ones((0, harmonics.frequency_hz.size)) if gates is None else gates
    at_microphone = _total(harmonics.curves, input_referred=False)
    piston = (
        DistortionPeak(None, None, None, "no break-up was found, so the piston band has no end")
        if breakup_hz is None
        else _peak(harmonics, harmonics.curves, at_microphone, min(breakup_hz / 2.0, top), gates)
    )
    return DistortionPeaks(
        thd=_peak(harmonics, harmonics.curves, at_microphone, top, gates),
        piston_thd=piston,
        input_thd=_peak(harmonics, harmonics.curves, _total(harmonics.curves, input_referred=True), top, gates[:0]),
        buzz=_peak(harmonics, (harmonics.buzz,), _total((harmonics.buzz,), input_referred=False), top, gates),
    )


def total_referred(fundamental_referred: float) -> float:
    """Return distortion re the total pressure (IEC 60268-5) from distortion re the fundamental, as ratios.

    Parameters
    ----------
    fundamental_referred : float
        THD_F, >= 0.

    Returns
    -------
    float
        THD_R = THD_F / sqrt(1 + THD_F²).

    Examples
    --------
    >>> round(total_referred(0.3), 4)
    0.2873
    """
    return fundamental_referred / math.sqrt(1.0 + fundamental_referred**2)


@dataclass(frozen=True)
class _Total:
    power: Floats
    noise: Floats
    variance: Floats
    """Of every order, whether added up or left out."""
    taken: Floats
    """Of the orders that were added up."""


def _total(curves: tuple[HarmonicCurve, ...], *, input_referred: bool) -> _Total:
    """Add up the orders inside the band; NaN where one of them cannot be read.

    Where all of them together do not stand clear of their noise, those with the most noise are left out, as few as
    will do: a strong order is not hidden by another that drowns. What they leave unknown stays in the variance.
    """

    def rows(parts: list[Floats]) -> Floats:
        return np.array(
            [np.where(np.isnan(p) & ~c.short & ~c.tail, 0.0, p) for p, c in zip(parts, curves, strict=True)]
        )

    first = curves[0].input_power if input_referred else curves[0].power
    nowhere = np.isnan(first) & ~curves[0].short & ~curves[0].tail
    power = rows([c.input_power if input_referred else c.power for c in curves])
    noise = rows([c.input_noise if input_referred else c.noise for c in curves])
    deviation = rows([c.input_power_u if input_referred else c.power_u for c in curves])
    clearest = np.argsort(-power / np.maximum(noise, 1e-300), axis=0, kind="stable")
    powers = np.cumsum(np.take_along_axis(power, clearest, axis=0), axis=0)
    noises = np.cumsum(np.take_along_axis(noise, clearest, axis=0), axis=0)
    variances = np.cumsum(np.take_along_axis(deviation, clearest, axis=0) ** 2, axis=0)
    clear = powers >= 10.0 ** (CLEAR_DB / 10.0) * noises
    # what is left out must not be able to hide as much as what is found, nor chance to lift what is weak
    clear[:-1] &= powers[:-1] >= 10.0 ** (STRONG_DB / 10.0) * noises[:-1]
    clear[:-1] &= powers[:-1] - noises[:-1] >= HIDDEN * np.sqrt(variances[-1])
    most = len(curves) - 1 - np.argmax(clear[::-1], axis=0)  # all of them where none is clear, or a value is missing
    most = np.where(np.isfinite(powers[-1]), most, len(curves) - 1)[None]

    def taken(sums: Floats) -> Floats:
        return np.where(nowhere, np.nan, np.take_along_axis(sums, most, axis=0)[0])

    return _Total(taken(powers), taken(noises), np.where(nowhere, np.nan, variances[-1]), taken(variances))


def _peak(
    harmonics: Harmonics, curves: tuple[HarmonicCurve, ...], total: _Total, top_hz: float, gates: Floats
) -> DistortionPeak:
    if harmonics.reason is not None:
        return DistortionPeak(None, None, None, harmonics.reason)
    frequency = harmonics.frequency_hz
    inside = (frequency >= LOWEST_HZ) & (frequency <= top_hz)
    span = f"between {LOWEST_HZ:.0f} Hz and {top_hz:.0f} Hz"
    if not inside.any():
        return DistortionPeak(None, None, None, f"the sweep holds no drive frequency {span}")
    read = inside & np.isfinite(total.power)
    blocked = inside & ~read
    # A peak is the largest of its whole range: where most of the range cannot be read, there is none to quote.
    if 2 * np.count_nonzero(blocked) > np.count_nonzero(inside) or not read.any():
        short = sum(np.count_nonzero(c.short & inside) for c in curves)
        tail = sum(np.count_nonzero(c.tail & inside) for c in curves)
        if short or tail:
            return DistortionPeak(None, None, None, f"{SHORT_SWEEP if short > tail else ROOM_TAIL} ({span})")
        return DistortionPeak(None, None, None, f"the harmonics of every drive frequency {span} leave the band")
    clear = read & (total.power >= 10.0 ** (CLEAR_DB / 10.0) * np.where(read, total.noise, 0.0))
    if clear.any():
        net = np.where(clear, total.power - total.noise, -np.inf)
        at = int(np.argmax(net))
        percent = 100.0 * math.sqrt(net[at])
        alike = _alike(total, read, at)
        cells = max(1.0, SMOOTHING * math.log2(frequency[1] / frequency[0]) * np.count_nonzero(alike))
        # the largest of k alike values stands some sqrt(2 ln k) deviations above what they have in common
        variance = total.variance[at] + 2.0 * math.log(cells) * total.taken[at]
        noise_u = 100.0 * math.sqrt(variance) / (2.0 * math.sqrt(net[at]))
        u = math.hypot(noise_u, _gate_u(frequency, curves, at, gates))
        # smoothed over a sixth of an octave: the place of one peak is known to a twelfth, uniformly
        own = frequency[at] * math.log(2.0) / 2.0 / SMOOTHING
        reach = max(own, float(np.max(np.abs(frequency[alike] - frequency[at]))))
        return DistortionPeak(percent, u, float(frequency[at]), None, reach / math.sqrt(3.0))
    floor = 100.0 * math.sqrt(float(np.median(total.noise[read])))
    reason = f"nowhere {span} 10 dB over its own noise floor, which is {floor:.2g} % of the fundamental (median)"
    return DistortionPeak(None, None, None, reason)


def _gate_u(frequency: Floats, curves: tuple[HarmonicCurve, ...], at: int, gates: Floats) -> float:
    """The most that another gate changes a peak, %: fundamental and harmonics pass the gated response."""
    most, x = 0.0, np.log(frequency)
    before = math.sqrt(sum(max(_known(c.power[at]) - _known(c.noise[at]), 0.0) for c in curves))
    for gate in gates:
        after = 0.0
        for curve in curves:
            net = max(_known(curve.power[at]) - _known(curve.noise[at]), 0.0)
            middle = math.sqrt(curve.orders[0] * curve.orders[-1])
            gain = float(np.interp(x[at] + math.log(middle), x, gate)) / float(gate[at])
            after += net * gain**2
        most = max(most, 100.0 * abs(math.sqrt(after) - before))
    return most


def _known(value: np.float64) -> float:
    return float(value) if np.isfinite(value) else 0.0


def _alike(total: _Total, read: NDArray[np.bool_], at: int) -> NDArray[np.bool_]:
    """Where the curve, given its noise, may be as high as at its peak."""
    net = np.where(read, total.power - total.noise, -np.inf)
    spread = np.sqrt(np.where(read, total.variance, 0.0) + total.variance[at])
    return np.asarray(read & (net >= net[at] - ALIKE * spread))
