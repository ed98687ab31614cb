"""Clock error between player and recorder, told from one recording without a reference.

A recorder whose clock is fast by e stretches an exponential sweep. Divided by the sweep that was meant, the
response is dispersed: frequency f arrives ``e L ln(f / f1)`` late, plus a constant. Two marks of it are read:

harmonics
    The response of harmonic n is dispersed like the linear one at the same output frequency, but arrives
    ``e L ln n`` early relative to ``L ln n``. Their ratio at the same output frequency has lost cone, room,
    microphone and dispersion; what is left is the phase of the distortion itself and that delay. A memoryless
    distortion of a synchronised sweep has a phase of 0 or pi (odd orders), +-pi/2 (even orders), which pins the
    delay; without that the slope alone serves.
linear response
    Sound that comes straight from a cone is minimum phase to good approximation; so is a weaker reflection on
    top. What its phase has over the one that belongs to its magnitude is a delay (f), what lies outside the
    band (1/f and 1/f cubed below it, f and f cubed above), and the dispersion (f ln f).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.long_transform import long_irfft
from frusta.signal.transfer import Deconvolved, band_taper, bins_hz, stretch

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LARGEST_PPM = 2000.0  # crystals agree within 200; beyond 1500 something converts
# What a response may stray from minimum phase within the band, radians rms, when nothing shows it. The
# residual of the fit is added to it.
MINIMUM_PHASE_RAD = 0.01
# A crest of a harmonic over the rms that noise makes of it: by chance once in 1e10 lags.
CREST_OVER_FLOOR = 5.0
# Marks that lie farther apart than five times what their uncertainties allow contradict each other.
CONTRADICTION = 25.0
# They still tell a clock error that is many times what they are apart.
AGREED_SHARE = 0.2
# How much likelier the best lag must be than the next crest, as a difference of log likelihoods.
LIKELIER = 12.0
# A response that strays farther from minimum phase, rad rms, is not minimum phase at all.
LARGEST_STRAY_RAD = 0.02
# How far the phase of a distortion may stray from its law at the middle of the band, radians.
LAW_RAD = 0.01
# Independent stretches that such a smooth stray has over the band of the fit.
STRAY_STRETCHES = 6.0


@dataclass(frozen=True)
class ClockError:
    """How much faster the recorder's clock is than the player's.

    Attributes
    ----------
    ppm, ppm_u : float
        Parts per million and standard uncertainty.
    harmonics_ppm, harmonics_u, linear_ppm, linear_u : float
        The two estimates behind it; NaN and infinity where one cannot be had.
    """

    ppm: float
    ppm_u: float
    harmonics_ppm: float = math.nan
    harmonics_u: float = math.inf
    linear_ppm: float = math.nan
    linear_u: float = math.inf


def estimate_clock_ppm(
    response: Deconvolved,
    rate_s: float,
    direct_index: int,
    *,
    synchronised: bool = True,
    free_s: float = 0.005,
    largest_ppm: float = LARGEST_PPM,
) -> ClockError:
    """Estimate the clock error that a deconvolved recording still shows.

    Parameters
    ----------
    response : Deconvolved
        Of an exponential sweep.
    rate_s : float
        Rate L of the sweep, s.
    direct_index : int
        Sample of the direct sound.
    synchronised : bool
        Whether the sweep's phase is 0 modulo 2 pi at its start and ``start_hz * rate_s`` is whole.
    free_s : float
        Length after the direct sound that is free of strong reflections, s.
    largest_ppm : float
        How far to search; less leaves less noise in.

    Returns
    -------
    ClockError
        With infinite uncertainty where neither mark can be read.

    Raises
    ------
    ParameterError
        If the rate is not positive.
    """
    if not rate_s > 0.0:
        raise ParameterError(f"rate_s must be positive (got {rate_s}); only exponential sweeps show the clock")
    marks = [_from_harmonic(response, rate_s, direct_index, order, synchronised, largest_ppm) for order in (2, 3)]
    harmonic, harmonic_u = _combine(marks)
    linear, linear_u = _from_linear(response, rate_s, direct_index, free_s)
    ppm, ppm_u = _combine([(harmonic, harmonic_u), (linear, linear_u)])
    if not math.isfinite(ppm_u):  # minimum phase is the weaker assumption of the two
        ppm, ppm_u = (harmonic, harmonic_u) if math.isfinite(harmonic_u) else (linear, linear_u)
    return ClockError(ppm, ppm_u, harmonic, harmonic_u, linear, linear_u)


def _combine(marks: list[tuple[float, float]]) -> tuple[float, float]:
    """Weighted mean, its uncertainty widened where the marks disagree (Birge ratio); none if they contradict."""
    known = [(v, u) for v, u in marks if math.isfinite(u) and math.isfinite(v)]
    if not known:
        return math.nan, math.inf
    value, u = (np.array(column) for column in zip(*known, strict=True))
    weight = 1.0 / u**2
    mean = float(np.sum(weight * value) / weight.sum())
    spread = float(np.sum(weight * (value - mean) ** 2))
    birge = max(1.0, spread / max(len(known) - 1, 1))
    apart = float(np.ptp(value))
    if birge > CONTRADICTION and apart > AGREED_SHARE * abs(mean):
        return math.nan, math.inf
    # marks that contradict each other in the fine still tell the coarse: then either may be right
    return mean, max(math.sqrt(birge / float(weight.sum())), apart if birge > CONTRADICTION else 0.0)


def _window(count: int, rise: int, fall: int) -> Floats:
    """Raised-cosine ends round a flat middle."""
    w = np.ones(count)
    w[:rise] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    w[count - fall :] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    return w


def _from_harmonic(
    response: Deconvolved, rate_s: float, direct: int, order: int, synchronised: bool, largest_ppm: float
) -> tuple[float, float]:
    """Delay of harmonic ``order`` against L ln n, as a clock error in ppm, and its uncertainty."""
    rate_hz = response.sample_rate_hz
    band = response.band
    spread_s = 1e-6 * largest_ppm * rate_s * math.log(band.stop_hz / band.start_hz)
    before, after = round((0.004 + spread_s) * rate_hz), round((0.02 + spread_s) * rate_hz)
    lead = rate_s * math.log(order) * rate_hz
    gap = rate_s * math.log((order + 1) / order) * rate_hz
    if gap < 2.2 * (before + after) or lead + gap + before > 0.9 * response.impulse.size:
        return math.nan, math.inf
    taper = _window(before + after, before // 2, after // 2)
    whole = round(lead)

    def spectrum(at: int) -> Complexes:
        return np.asarray(fft.rfft(stretch(response.impulse, before, after, at) * taper))

    linear, harmonic = spectrum(direct), spectrum(direct - whole)
    quiet = [direct - whole - round(gap * share) for share in (0.4, 0.6)]
    noise = np.mean([np.abs(spectrum(place)) ** 2 for place in quiet], axis=0)
    width = max(3, round(0.02 * noise.size))
    noise = np.convolve(noise, np.full(width, 1.0 / width), "same") + 1e-300
    frequency = bins_hz(taper.size, rate_hz)
    use = (frequency > 1.5 * order * max(band.full_low_hz, 100.0)) & (frequency < band.full_high_hz)
    ratio = harmonic[use] * linear[use].conj() / np.abs(linear[use]) ** 2
    weight = np.abs(linear[use]) ** 2 / noise[use]
    f = frequency[use]
    # the window was placed on a whole sample: put the rest back
    ratio = ratio * np.exp(2j * np.pi * f * (whole - lead) / rate_hz)
    return _delay(f, ratio, weight, order, synchronised, rate_s * math.log(order), largest_ppm)


def _delay(
    f: Floats, ratio: Complexes, weight: Floats, order: int, synchronised: bool, lead_s: float, largest_ppm: float
) -> tuple[float, float]:
    """Fit one delay to a weighted ratio; return it as ppm of ``lead_s`` with its uncertainty."""
    size = 8 * fft.next_fast_len(2 * f.size)
    step = f[1] - f[0]
    crest = np.abs(fft.fft(weight * ratio, size))
    lag_s = fft.fftfreq(size, step)  # the ratio turns as exp(+j 2 pi f lag)
    # the crest that noise or a room's tail makes of itself is Rayleigh distributed: median 0.83 of its rms
    floor = float(np.median(crest)) / math.sqrt(math.log(2.0))
    crest[np.abs(lag_s) > 1e-6 * largest_ppm * lead_s] = 0.0
    if not _stands_alone(fft.fftshift(crest), floor):
        return math.nan, math.inf
    lag = float(lag_s[int(np.argmax(crest))])
    phase = 0.0
    for _ in range(4):  # Gauss-Newton on phase and delay
        turned = weight * ratio * np.exp(-1j * (phase + 2.0 * np.pi * f * lag))
        if _ == 0:
            phase = float(np.angle(turned.sum()))
            turned = turned * np.exp(-1j * phase)
        level = float(turned.real.sum() / weight.sum())
        if level <= 0.0:
            return math.nan, math.inf
        design = np.column_stack([np.ones_like(f), 2.0 * np.pi * f])
        normal = (design * (weight * level**2)[:, None]).T @ design
        change = np.linalg.solve(normal, design.T @ (level * turned.imag))
        phase, lag = phase + float(change[0]), lag + float(change[1])
    turned = ratio * np.exp(-1j * (phase + 2.0 * np.pi * f * lag))
    level = float((weight * turned.real).sum() / weight.sum())
    # phase noise of one bin has variance noise / (2 |signal|^2); overlapping bins of the taper share it
    excess = float(np.sum(weight * turned.imag**2) / (0.5 * f.size))
    covariance = np.linalg.inv(normal) * 0.5 * 1.4 * max(1.0, excess)
    if math.sqrt(covariance[1, 1]) > 0.25 / (f[-1] - f[0]) or level**2 * weight.sum() < 20.0:
        return math.nan, math.inf  # no clear crest: the harmonic drowns
    if synchronised:
        pinned = _pinned_phase(phase, order)
        away = phase - pinned
        if away**2 < 9.0 * covariance[0, 0]:
            gain = covariance[0, 1] / covariance[0, 0]
            lag -= gain * away
            covariance[1, 1] -= gain * covariance[0, 1]
    scale = 1e6 / lead_s
    covariance[1, 1] += (LAW_RAD / (math.pi * (f[0] + f[-1]))) ** 2
    # an early harmonic is a fast recorder: e = lag / (L ln n), as exp(+j 2 pi f lag) is early by lag
    return lag * scale, math.sqrt(covariance[1, 1]) * scale


def _stands_alone(crest: Floats, floor: float) -> bool:
    """Whether the highest crest is far over the noise, and far likelier than the next one beside it."""
    top = int(np.argmax(crest))
    if crest[top] < CREST_OVER_FLOOR * floor:
        return False
    left, right = top, top
    while left > 0 and crest[left - 1] < crest[left]:
        left -= 1
    while right < crest.size - 1 and crest[right + 1] < crest[right]:
        right += 1
    other = max(crest[:left].max(initial=0.0), crest[right + 1 :].max(initial=0.0))
    return bool(crest[top] ** 2 - other**2 > LIKELIER * floor**2)


def _pinned_phase(phase: float, order: int) -> float:
    """The phase nearest to ``phase`` that a memoryless distortion can have."""
    offset = 0.5 * math.pi if order % 2 == 0 else 0.0
    return offset + math.pi * round((phase - offset) / math.pi)


def _from_linear(response: Deconvolved, rate_s: float, direct: int, free_s: float) -> tuple[float, float]:
    """Dispersion of the linear response beyond minimum phase, as a clock error in ppm."""
    rate_hz, band = response.sample_rate_hz, response.band
    before, after = round(0.003 * rate_hz), round(free_s * rate_hz)
    low, high = max(600.0, 2.0 * band.full_low_hz), min(10000.0, 0.5 * band.stop_hz)
    if high < 4.0 * low:
        return math.nan, math.inf
    taper = _window(before + after, before // 2, round(0.3 * after))
    size = fft.next_fast_len(round(0.17 * rate_hz), real=True)
    size += size % 2
    spectrum = fft.rfft(stretch(response.impulse, before, after, direct) * taper, size)
    f = bins_hz(size, rate_hz)
    spectrum = spectrum / np.maximum(band_taper(f, band), 1e-2)
    spectrum = spectrum * np.exp(2j * np.pi * f * before / rate_hz)
    magnitude = np.log(np.abs(spectrum) + 1e-30)
    first, last = np.searchsorted(f, max(100.0, band.full_low_hz)), np.searchsorted(f, 0.95 * band.stop_hz)
    # below, a cone on its suspension falls by 12 dB an octave; above, level with the last tenth
    magnitude[:first] = magnitude[first] + 2.0 * np.log(np.maximum(f[:first], 30.0) / f[first])
    magnitude[last:] = np.mean(magnitude[last - last // 20 : last])
    cepstrum = fft.irfft(magnitude, size)
    cepstrum[1 : size // 2] *= 2.0
    cepstrum[size // 2 + 1 :] = 0.0
    minimum = fft.rfft(cepstrum, size).imag
    excess = np.unwrap(np.angle(spectrum * np.exp(-1j * minimum)))
    use = (f > low) & (f < high)
    x, y = f[use] / 5000.0, excess[use]
    middle = int(np.argmin(np.abs(x - 0.3)))
    y = y - np.pi * np.round(y[middle] / np.pi)
    design = np.column_stack([x * np.log(x), x, x**3, 1.0 / x, x**-3])
    solution = np.linalg.lstsq(design, y, rcond=None)[0]
    stray = float(np.std(y - design @ solution))
    normal = np.linalg.inv(design.T @ design)
    variance = normal[0, 0] * x.size / STRAY_STRETCHES * (stray**2 + MINIMUM_PHASE_RAD**2)
    scale = 1e6 / (5000.0 * 2.0 * math.pi * rate_s)
    if stray > LARGEST_STRAY_RAD:
        return math.nan, math.inf
    return -float(solution[0]) * scale, math.sqrt(float(variance)) * scale


def correct_clock(response: Deconvolved, ppm: float, rate_s: float, start_hz: float, begin_s: float) -> Deconvolved:
    """Return a deconvolved recording as if it had been divided by the sweep that the recorder's clock saw.

    The spectrum of a stretched exponential sweep differs from the original by a known phase (stationary
    phase, exact for the ratio to second order in the clock error); frequencies are the player's afterwards.

    Parameters
    ----------
    response : Deconvolved
        Divided by the sweep at the nominal rate.
    ppm : float
        How much faster the recorder's clock is.
    rate_s, start_hz, begin_s : float
        Rate L, first frequency and begin of the sweep in what was played.

    Returns
    -------
    Deconvolved
        Its sample rate is the recorder's true one, by the player's clock.
    """
    e = 1e-6 * ppm
    held = np.flatnonzero(response.taper)
    inside = slice(max(int(held[0]), 1), int(held[-1]) + 1)  # the rest is zero anyway
    f = response.frequency_hz[inside]
    # L f ((1 + e)(1 - ln(f (1 + e) / f1)) - (1 - ln(f / f1))) - e t1 f, with the logarithms of f brought together
    fixed = rate_s * (e + (1.0 + e) * (math.log(start_hz) - math.log1p(e)) - math.log(start_hz)) - e * begin_s
    phase = (-2.0 * np.pi) * f * (fixed - rate_s * e * np.log(f))
    turn = np.empty(f.size, dtype=np.complex128)
    np.cos(phase, out=turn.real)
    np.sin(phase, out=turn.imag)
    turn *= 1.0 / math.sqrt(1.0 + e)
    spectrum = np.zeros_like(response.spectrum)
    np.multiply(response.spectrum[inside], turn, out=spectrum[inside])
    impulse = long_irfft(spectrum, response.impulse.size)
    return Deconvolved(impulse, spectrum, response.taper, response.sample_rate_hz * (1.0 + e), response.band)
