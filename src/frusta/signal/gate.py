"""The direct sound, the reflections after it, and the gate between them.

A reflection is a delayed copy of the direct sound. In the logarithm of the spectrum it is a ripple, in the
cepstrum a pulse at its delay, however long the cone itself rings: the cepstrum of a mode dies faster than the
mode (by 1/n), so that delay times cepstrum never grows, unless a copy arrives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.transfer import Deconvolved, band_taper, bins_hz, stretch

Floats = NDArray[np.float64]

ONSET = 0.1  # of the peak
SEARCH_S = 0.025  # reflections are sought up to here
EARLIEST_S = 0.0012  # before that a reflection cannot be told from the cone
SMALLEST = 0.01  # a copy weaker than this (-40 dB) does not matter
# Over what came before, times its delay: the cepstrum of modes falls at least as 1/t, so t times it does not grow but
# by chance, and while the first waves come back from the rim; a copy makes it. In 37 physical cones of all sorts it
# grew by 2.9 at 1.3 ms, by 1.6 before 2 ms, by 1.1 later; in 16 of random lightly damped poles by 2.0 before 2.3 ms.
OVER_EARLIER, WAVES_BACK_S = 1.5, 0.0032
OVER_FLOOR = 5.0  # over the median of the cepstrum: false alarms of a Rayleigh floor 3e-8 a point
GUARD_S = 0.0001  # two periods of the highest frequency: the copy's own rise


@dataclass(frozen=True)
class Reflection:
    """A delayed copy of the direct sound.

    Attributes
    ----------
    delay_s : float
        After the direct sound, s.
    level_db : float
        Re the direct sound, dB.
    path_m : float
        How much longer its way is, m.
    """

    delay_s: float
    level_db: float
    path_m: float


@dataclass(frozen=True)
class Gate:
    """The stretch of the impulse response that counts as the cone's own.

    Attributes
    ----------
    onset_s : float
        Onset of the direct sound, s from lag zero (10 % of the peak).
    length_s : float
        Length after the onset, s.
    reflection_s, reflection_db : float or None
        Delay and level of the first reflection; None if none was found.
    path_m : float
        Extra path that the gate's length stands for, m.
    by_hand : bool
        Whether the length was given.
    reflections : tuple of Reflection
        All that were found, earliest first.
    """

    onset_s: float
    length_s: float
    reflection_s: float | None
    reflection_db: float | None
    path_m: float
    by_hand: bool = False
    reflections: tuple[Reflection, ...] = ()


def find_onset(impulse: Floats, sample_rate_hz: float) -> tuple[int, int]:
    """Return (onset, peak) of a periodic impulse response, in samples; onset at 10 % of the peak.

    The onset is the first sample over 10 % within the 5 ms before the peak from which on the response
    never stays below that for longer than 1 ms. It may be negative (wrapped).

    Raises
    ------
    ParameterError
        If the response is zero throughout.
    """
    magnitude = np.abs(impulse)
    peak = int(np.argmax(magnitude))
    if magnitude[peak] == 0.0:
        raise ParameterError("the impulse response must not be zero throughout; check the channel")
    before = round(0.005 * sample_rate_hz)
    over = np.flatnonzero(stretch(magnitude, before, 1, peak) > ONSET * magnitude[peak]) - before
    pauses = np.flatnonzero(np.diff(over) > round(0.001 * sample_rate_hz))
    first = int(over[pauses[-1] + 1] if pauses.size else over[0])
    return peak + first, peak


def find_reflections(response: Deconvolved, onset: int, sound_speed_m_s: float) -> tuple[Reflection, ...]:
    """Return the reflections after the direct sound, earliest first.

    Parameters
    ----------
    response : Deconvolved
    onset : int
        Sample of the direct sound.
    sound_speed_m_s : float
        m/s.
    """
    rate_hz, band = response.sample_rate_hz, response.band
    before, after = round(0.003 * rate_hz), round(1.6 * SEARCH_S * rate_hz)
    rise, fall = before // 2, after // 3
    taper = np.ones(before + after)
    taper[:rise] = 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    taper[-fall:] = 0.5 + 0.5 * np.cos(np.pi * np.arange(fall) / fall)
    size = fft.next_fast_len(4 * taper.size, real=True)
    spectrum = fft.rfft(stretch(response.impulse, before, after, onset) * taper, size)
    f = bins_hz(size, rate_hz)
    low, high = max(500.0, 2.0 * band.full_low_hz), min(0.9 * band.stop_hz, 18000.0)
    if high < 4.0 * low:
        return ()
    use = slice(int(np.searchsorted(f, low)), int(np.searchsorted(f, high)))
    level = np.log(np.abs(spectrum[use] / np.maximum(band_taper(f[use], band), 1e-2)) + 1e-30)
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(level.size) / level.size)
    level = (level - np.sum(window * level) / window.sum()) * window
    fine = fft.next_fast_len(4 * size)
    # a copy of strength a ripples as a cos(2 pi f t): its pulse has the height a / 2 x sum of the window
    pulse = 2.0 * np.abs(fft.ifft(level, fine)) * fine / window.sum()
    # one sample of the pulse is 1 / (fine x step of f) seconds
    step_s = size / rate_hz / fine
    return _pick(pulse[: int(SEARCH_S / step_s)], step_s, high - low, sound_speed_m_s)


def _pick(pulse: Floats, step_s: float, width_hz: float, speed: float) -> tuple[Reflection, ...]:
    """Peaks of the cepstrum that stand over its floor and over what the cone's own could be after what came before."""
    lobe = max(1, round(2.0 / width_hz / step_s))
    floor = float(np.median(pulse[pulse.size // 2 :]))
    highest = pulse[1:-1] > np.maximum(pulse[:-2], pulse[2:])
    found: list[Reflection] = []
    for i in np.flatnonzero(highest) + 1:
        if i * step_s < EARLIEST_S or pulse[i] < max(SMALLEST, OVER_FLOOR * floor):
            continue
        if pulse[i] < pulse[max(0, i - lobe) : i + lobe + 1].max():
            continue
        places = np.arange(i // 2, i - lobe)
        known = [r.delay_s for r in found]
        for delay in known:  # a reflection found already does not hide the next
            places = places[np.abs(places * step_s - delay) > lobe * step_s]
        least = max(OVER_EARLIER, (WAVES_BACK_S / (i * step_s)) ** 2)
        if places.size == 0 or i * pulse[i] < least * (places * pulse[places]).max():
            continue
        if any(abs(i * step_s - k * d) < lobe * step_s for d in known for k in (2, 3, 4)):
            continue  # the powers of a copy's own ripple
        left, here, right = pulse[i - 1 : i + 2]
        shift = 0.5 * (left - right) / (left - 2.0 * here + right)
        delay = float((i + shift) * step_s)
        found.append(Reflection(delay, 20.0 * math.log10(float(here)), delay * speed))
    return tuple(found)


def find_gate(
    response: Deconvolved,
    sound_speed_m_s: float,
    gate_s: float | None = None,
) -> Gate:
    """Return the gate: from the onset to just before the first reflection, or as set by hand.

    Parameters
    ----------
    response : Deconvolved
    sound_speed_m_s : float
        m/s, to give the path.
    gate_s : float, optional
        Length set by hand, s.

    Raises
    ------
    ParameterError
        If a length set by hand is not between 0.5 ms and half the response.
    """
    onset, _ = find_onset(response.impulse, response.sample_rate_hz)
    longest = 0.5 * response.impulse.size / response.sample_rate_hz
    if gate_s is not None and not 0.0005 <= gate_s <= longest:
        raise ParameterError(
            f"gate_s must be between 0.0005 and {longest:.3g} s (got {gate_s:g}); 0.005 is usual on a bench"
        )
    found = find_reflections(response, onset, sound_speed_m_s)
    first = found[0] if found else None
    length = first.delay_s - GUARD_S if first else SEARCH_S
    if gate_s is not None:
        length = gate_s
    return Gate(
        onset / response.sample_rate_hz,
        length,
        first.delay_s if first else None,
        first.level_db if first else None,
        length * sound_speed_m_s,
        gate_s is not None,
        found,
    )


def gate_window(length: int, fall: float = 0.5) -> Floats:
    """Return a window of ``length`` samples from the onset: flat, then a raised-cosine fall at its end."""
    window = np.ones(length)
    count = max(1, round(fall * length))
    window[length - count :] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(count) + 1.0) / (count + 1.0))
    return window


def gated_spectrum(
    response: Deconvolved, gate: Gate, frequency_hz: Floats, lead_s: float = 0.003
) -> NDArray[np.complex128]:
    """Return the gated response at the frequencies asked for, its phase referred to the onset.

    Parameters
    ----------
    response : Deconvolved
    gate : Gate
    frequency_hz : ndarray, shape (m,)
        Hz.
    lead_s : float
        Stretch kept before the onset, s (what the band's upper end rings ahead).

    Returns
    -------
    ndarray, shape (m,)
    """
    onset = round(gate.onset_s * response.sample_rate_hz)
    before, after = round(lead_s * response.sample_rate_hz), round(gate.length_s * response.sample_rate_hz)
    after = max(after, 8)
    window = np.concatenate([0.5 - 0.5 * np.cos(np.pi * (np.arange(before) + 0.5) / before), gate_window(after)])
    return spectrum_at(
        stretch(response.impulse, before, after, onset) * window,
        before,
        response.sample_rate_hz,
        frequency_hz,
    )


def spectrum_at(segment: Floats, origin: int, sample_rate_hz: float, frequency_hz: Floats) -> NDArray[np.complex128]:
    """Return the Fourier transform of short segments at any frequencies, phase referred to sample ``origin``.

    A transform padded eightfold at least, interpolated linearly in real and imaginary part after the bulk
    delay is taken out; its error is below 0.01 dB.

    Parameters
    ----------
    segment : ndarray, shape (..., n)
    origin : int
        Sample, 0 to n.
    sample_rate_hz : float
    frequency_hz : ndarray, shape (m,)
        Hz, 0 to half the sample rate.

    Returns
    -------
    ndarray, shape (..., m)
    """
    length = segment.shape[-1]
    size = fft.next_fast_len(max(8 * length, round(0.4 * sample_rate_hz)), real=True)
    padded = np.zeros((*segment.shape[:-1], size))
    padded[..., : length - origin] = segment[..., origin:]
    padded[..., size - origin :] = segment[..., :origin]
    spectrum = fft.rfft(padded, axis=-1)
    place = frequency_hz * (size / sample_rate_hz)
    below = np.clip(place.astype(np.int64), 0, size // 2 - 1)
    share = np.clip(place - below, 0.0, 1.0)
    return np.asarray(spectrum[..., below] * (1.0 - share) + spectrum[..., below + 1] * share)
