"""Sweeps: the synchronised exponential one made here, and what any other signal turns out to be."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError

Floats = NDArray[np.float64]

# A phase that strays by more than this from the exponential law no longer keeps its harmonics together:
# order 5 would stray by five times as much, half a cycle. A third of a radian is what order 5 can bear
# with its peak lowered by less than 3 dB (coherent sum over a uniform phase spread of 5 x 0.33 rad).
EXPONENTIAL_PHASE_RAD = 0.33


@dataclass(frozen=True)
class Sweep:
    """The synchronised exponential sweep that is played.

    Parameters
    ----------
    start_hz, stop_hz : float
        First and last frequency, Hz; 0 < start < stop <= half the sample rate.
    duration_s : float
        Nominal duration, s; the real one, `sounding_s`, differs a little so that ``start_hz * rate_s`` is whole.
    lead_in_s, tail_s : float
        Silence before and after, s, >= 0.
    fade_in_s, fade_out_s : float
        Raised-cosine fades inside the sounding part, s, >= 0.
    level_dbfs : float
        Peak level, dB re digital full scale (0 dB = peak 1.0), <= 0.
    sample_rate_hz : int
        Samples a second, > 0.

    Raises
    ------
    ParameterError
        If a value is out of its range, or the sweep is too short to be synchronised (rate below one period).

    References
    ----------
    A. Novak, P. Lotton, L. Simon, Synchronized swept-sine, J. Audio Eng. Soc. 63(10), 2015.
    """

    start_hz: float
    stop_hz: float
    duration_s: float
    lead_in_s: float = 0.5
    tail_s: float = 1.0
    fade_in_s: float = 0.02
    fade_out_s: float = 0.005
    level_dbfs: float = -6.0
    sample_rate_hz: int = 48000

    def __post_init__(self) -> None:
        """Refuse what cannot be played."""
        values = (
            self.start_hz,
            self.stop_hz,
            self.duration_s,
            self.lead_in_s,
            self.tail_s,
            self.fade_in_s,
            self.fade_out_s,
            self.level_dbfs,
            float(self.sample_rate_hz),
        )
        if not all(math.isfinite(v) for v in values):
            raise ParameterError(f"every figure of a sweep must be a finite number (got {values})")
        if self.sample_rate_hz <= 0:
            raise ParameterError(f"sample_rate_hz must be positive (got {self.sample_rate_hz})")
        if not 0.0 < self.start_hz < self.stop_hz:
            raise ParameterError(
                f"start_hz must be above 0 and below stop_hz (got {self.start_hz} and {self.stop_hz} Hz)"
            )
        if self.stop_hz > self.sample_rate_hz / 2:
            raise ParameterError(
                f"stop_hz must be at most half the sample rate, {self.sample_rate_hz / 2:g} Hz "
                f"(got {self.stop_hz:g} Hz); lower it or record at a higher rate"
            )
        if self.duration_s <= 0.0:
            raise ParameterError(f"duration_s must be positive (got {self.duration_s})")
        if min(self.lead_in_s, self.tail_s, self.fade_in_s, self.fade_out_s) < 0.0:
            raise ParameterError("lead_in_s, tail_s, fade_in_s and fade_out_s must not be negative")
        if self.level_dbfs > 0.0:
            raise ParameterError(f"level_dbfs must be at most 0, digital full scale (got {self.level_dbfs:g})")
        if round(self.start_hz * self.duration_s / math.log(self.stop_hz / self.start_hz)) < 1:
            raise ParameterError(
                f"duration_s of {self.duration_s:g} s is too short for a sweep from {self.start_hz:g} to "
                f"{self.stop_hz:g} Hz; use at least {math.log(self.stop_hz / self.start_hz) / self.start_hz:.3g} s"
            )
        if self.fade_in_s + self.fade_out_s > self.sounding_s:
            raise ParameterError("the two fades must fit inside the sweep; shorten them or lengthen the sweep")

    @cached_property
    def rate_s(self) -> float:
        """The sweep's rate L, s: the frequency rises by a factor e in this time."""
        turns = round(self.start_hz * self.duration_s / math.log(self.stop_hz / self.start_hz))
        return turns / self.start_hz

    @cached_property
    def sounding_s(self) -> float:
        """Real duration, s, fades included, silence excluded."""
        return self.rate_s * math.log(self.stop_hz / self.start_hz)

    @property
    def amplitude(self) -> float:
        """Peak re digital full scale."""
        return float(10.0 ** (self.level_dbfs / 20.0))

    @property
    def samples(self) -> int:
        """Length of the signal with its silences, samples."""
        return round((self.lead_in_s + self.sounding_s + self.tail_s) * self.sample_rate_hz)

    def frequency_at(self, time_s: float) -> float:
        """Instantaneous frequency, Hz, ``time_s`` seconds after the sweep began to sound."""
        return self.start_hz * math.exp(time_s / self.rate_s)

    def harmonic_lead_s(self, order: int) -> float:
        """How long before the linear response that of harmonic ``order`` arrives, s (L ln n)."""
        return self.rate_s * math.log(order)


def make_sweep(sweep: Sweep, clock_ppm: float = 0.0) -> Floats:
    """Return the samples of a sweep, silences included.

    Parameters
    ----------
    sweep : Sweep
        What to play.
    clock_ppm : float
        Sample the same sound with a clock that is fast by this many parts per million (what a recorder
        with such a clock would write), 0 for what is played.

    Returns
    -------
    ndarray, shape (n,)
        float64, peak `Sweep.amplitude`.

    References
    ----------
    Novak, Lotton, Simon (2015): x(t) = A sin(2 pi f1 L exp(t/L)). Phase is 0 modulo 2 pi at the start.
    """
    rate_hz = sweep.sample_rate_hz * (1.0 + 1e-6 * clock_ppm)
    count = round((sweep.lead_in_s + sweep.sounding_s + sweep.tail_s) * rate_hz)
    signal = np.zeros(count)
    first = max(0, math.ceil(sweep.lead_in_s * rate_hz))
    last = min(count - 1, math.floor((sweep.lead_in_s + sweep.sounding_s) * rate_hz))
    time_s = np.arange(first, last + 1) / rate_hz - sweep.lead_in_s
    turns = sweep.start_hz * sweep.rate_s * np.exp(time_s / sweep.rate_s)
    sounding = sweep.amplitude * np.sin(2.0 * np.pi * (turns - np.floor(turns)))
    if sweep.fade_in_s > 0.0:
        head = time_s < sweep.fade_in_s
        sounding[head] *= 0.5 - 0.5 * np.cos(np.pi * time_s[head] / sweep.fade_in_s)
    if sweep.fade_out_s > 0.0:
        left_s = sweep.sounding_s - time_s
        foot = left_s < sweep.fade_out_s
        sounding[foot] *= 0.5 - 0.5 * np.cos(np.pi * left_s[foot] / sweep.fade_out_s)
    signal[first : last + 1] = sounding
    return signal


@dataclass(frozen=True)
class SweepFit:
    """What a signal turns out to be when an exponential sweep is fitted to it.

    Attributes
    ----------
    start_hz, stop_hz : float
        Frequency at `begin_s` and `end_s`, Hz; of a signal that is no sweep, the band that holds its energy.
    rate_s : float
        Rate L, s; NaN where no exponential law fits.
    begin_s, end_s : float
        First and last sounding moment, s from the start of the signal.
    amplitude : float
        Peak of the sounding part.
    exponential : bool
        Whether the frequency really rises exponentially, so that harmonics separate.
    reason : str or None
        Why not, in words; None if it does.
    phase_rad : float
        Largest departure of the phase from the exponential law, radians; NaN where none fits.
    """

    start_hz: float
    stop_hz: float
    rate_s: float
    begin_s: float
    end_s: float
    amplitude: float
    exponential: bool
    reason: str | None
    phase_rad: float = math.nan


def fit_sweep(signal: Floats, sample_rate_hz: float) -> SweepFit:
    """Fit an exponential sweep to any signal and say whether it is one.

    The first estimate is the energy-weighted group delay in sixth-octave bands against ln f (a straight
    line of slope L); it is refined on the phase of the analytic signal, which must follow
    ``a + b exp(t/L)``.

    Parameters
    ----------
    signal : ndarray, shape (n,)
        What was played, or a loopback of it.
    sample_rate_hz : float
        Samples a second.

    Returns
    -------
    SweepFit

    Raises
    ------
    ParameterError
        If the signal is empty, not finite, or silent throughout.
    """
    x = np.asarray(signal, dtype=np.float64)
    if x.ndim != 1 or x.size < 64:
        raise ParameterError(f"signal must be one channel of at least 64 samples (got shape {x.shape})")
    if not np.isfinite(x).all():
        raise ParameterError("signal must hold finite numbers only; export it again")
    peak = float(np.abs(x).max())
    if peak == 0.0:
        raise ParameterError("signal must not be silent throughout; choose the file that was played")
    sounding = np.flatnonzero(np.abs(x) > 0.01 * peak)
    begin, end = int(sounding[0]), int(sounding[-1])
    bands = _band_delays(x, sample_rate_hz)

    def no(reason: str, rate_s: float = math.nan, phase: float = math.nan) -> SweepFit:
        return SweepFit(
            bands.low_hz,
            bands.high_hz,
            rate_s,
            begin / sample_rate_hz,
            end / sample_rate_hz,
            peak,
            False,
            reason,
            phase,
        )

    if bands.centre_hz.size < 12:
        return no("its energy covers less than two octaves")
    length_s = (end - begin) / sample_rate_hz
    if np.median(bands.spread_s) > 0.1 * length_s:
        return no("each frequency sounds for most of the signal: it is no sweep (noise or a steady sound)")
    slope, offset = np.polyfit(np.log(bands.centre_hz), bands.delay_s, 1)
    if slope <= 0.0:
        return no("its frequency does not rise with time")
    stray = bands.delay_s - (offset + slope * np.log(bands.centre_hz))
    inner = slice(2, -2)  # fades and cut ends lie in the outermost bands
    if np.abs(stray[inner]).max() > 0.02 * length_s + 2.0 / bands.low_hz:
        law, where = np.polyfit(bands.centre_hz, bands.delay_s, 1)
        straight = bands.delay_s - (where + law * bands.centre_hz)
        kind = "linearly" if np.sum(straight**2) < np.sum(stray**2) / 4 else "by another law"
        return no(f"its frequency rises {kind} with time, not exponentially")
    return _fit_phase(x, sample_rate_hz, begin, end, peak, float(slope), bands, no)


class _Refusal(Protocol):
    def __call__(self, reason: str, rate_s: float = ..., phase: float = ...) -> SweepFit: ...


@dataclass(frozen=True)
class _Bands:
    centre_hz: Floats
    delay_s: Floats
    spread_s: Floats
    low_hz: float
    high_hz: float


def _band_delays(x: Floats, sample_rate_hz: float) -> _Bands:
    """Energy-weighted group delay and its spread in sixth-octave bands that hold energy."""
    count = fft.next_fast_len(2 * x.size, real=True)
    time_s = np.arange(x.size) / sample_rate_hz
    spectrum = fft.rfft(x, count)
    moment = fft.rfft(x * time_s, count)
    frequency = np.arange(spectrum.size) * sample_rate_hz / count
    edges = 1000.0 * 2.0 ** (np.arange(-42, 43) / 6.0)
    edges = edges[edges < sample_rate_hz / 2]
    place = np.searchsorted(frequency, edges)
    keep = np.diff(place) >= 4
    start, stop = place[:-1][keep], place[1:][keep]

    def total(values: Floats) -> Floats:
        run = np.concatenate([[0.0], np.cumsum(values)])
        return np.asarray(run[stop] - run[start])

    energy = total(np.abs(spectrum) ** 2)
    cross = total((moment * spectrum.conj()).real)
    square = total(np.abs(moment) ** 2)
    centre = np.sqrt(edges[:-1] * edges[1:])[keep]
    density = energy / (stop - start) * centre  # flat for a sweep, rising for white noise
    loud = density > 0.1 * np.median(density[density > 1e-3 * density.max()])
    first, last = _longest_run(loud)
    held = slice(first, last)
    delay = cross[held] / energy[held]
    spread = np.sqrt(np.maximum(square[held] / energy[held] - delay**2, 0.0))
    low, high = edges[:-1][keep][held][0], edges[1:][keep][held][-1]
    return _Bands(centre[held], delay, spread, float(low), float(min(high, sample_rate_hz / 2)))


def _longest_run(flags: NDArray[np.bool_]) -> tuple[int, int]:
    """Start and stop of the longest run of true values."""
    steps = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    starts, stops = steps[::2], steps[1::2]
    best = int(np.argmax(stops - starts))
    return int(starts[best]), int(stops[best])


def _analytic_phase(x: Floats) -> Floats:
    """Unwrapped phase of the analytic signal, cycles."""
    count = fft.next_fast_len(x.size, real=False)
    spectrum = fft.fft(x, count)
    half = count // 2
    spectrum[1:half] *= 2.0
    spectrum[half + 1 :] = 0.0
    analytic = fft.ifft(spectrum)[: x.size]
    return np.asarray(np.unwrap(np.angle(analytic)) / (2.0 * np.pi))


def _fit_phase(
    x: Floats,
    sample_rate_hz: float,
    begin: int,
    end: int,
    peak: float,
    rate_s: float,
    bands: _Bands,
    no: _Refusal,
) -> SweepFit:
    """Refine the rate on the phase and judge how well it follows the law."""
    trim = max(1, (end - begin) // 20)
    step = max(1, (end - begin) // 20000)
    phase = _analytic_phase(x)[begin + trim : end - trim : step]
    time_s = np.arange(phase.size) * step / sample_rate_hz + trim / sample_rate_hz

    for _ in range(20):  # Gauss-Newton on the rate: d growth / d rate = -growth (t - t_end) / rate^2
        growth = np.exp((time_s - time_s[-1]) / rate_s)
        design = np.column_stack([growth, np.ones_like(growth), growth * (time_s - time_s[-1])])
        solution = np.linalg.lstsq(design, phase, rcond=None)[0]
        if solution[0] <= 0.0:
            break
        change = -solution[2] / solution[0] * rate_s**2
        rate_s = float(np.clip(rate_s + change, 0.5 * rate_s, 2.0 * rate_s))
        if abs(change) < 1e-12 * rate_s:
            break
    growth = np.exp((time_s - time_s[-1]) / rate_s)
    design = np.column_stack([growth, np.ones_like(growth)])
    solution = np.linalg.lstsq(design, phase, rcond=None)[0]
    left = phase - design @ solution
    stray_rad = 2.0 * np.pi * float(np.quantile(np.abs(left), 0.98))
    if solution[0] <= 0.0 or stray_rad > EXPONENTIAL_PHASE_RAD:
        return no(
            f"its phase strays by {stray_rad:.2g} rad from an exponential law "
            f"(at most {EXPONENTIAL_PHASE_RAD:g} keeps the harmonics apart)",
            rate_s,
            stray_rad,
        )
    last_hz = float(solution[0]) / rate_s
    end_s = (end - begin) / sample_rate_hz
    start_hz = last_hz * math.exp(-time_s[-1] / rate_s)
    stop_hz = min(last_hz * math.exp((end_s - time_s[-1]) / rate_s), sample_rate_hz / 2)
    return SweepFit(
        start_hz,
        stop_hz,
        rate_s,
        begin / sample_rate_hz,
        end / sample_rate_hz,
        peak,
        True,
        None,
        stray_rad,
    )
