"""Modes of a diaphragm as poles of its reflection-free impulse response."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.signal.decay_fit import LARGEST_EXPONENT, autocovariance, fit_decay
from frusta.signal.subspace import largest_singular_value, poles_by_order, signal_subspace, upper_half

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

DIRECT_S = 0.3e-3  # after the onset the direct sound, band limited at 16 kHz, still rings: not modal, left out
REACH_S = 0.2e-3  # a reflection, band limited at 16 kHz, announces itself this long before it arrives
LIMIT_HZ = 16000.0  # a lower limit rings for longer in proportion
LATER_STARTS = (0.0, 0.06, 0.12)  # further starts, shares of the gate: a true pole does not care
ORDER_STEPS = (-2, 0, 2, 4, 6, 8)  # numbers of poles tried, about the rank that stands over the noise
LOWEST_ORDER, HIGHEST_ORDER = 4, 60
SHORTEST_RECORD = 48  # samples
SHARE_OF_RUNS = 0.6  # a pole is believed if found in this share of all runs ...
NEAR = 0.25  # ... within this share of its half bandwidth (0.4 % of the frequency at a loss factor of 0.03)
HIGHEST_LOSS_FACTOR = (
    0.15  # twice that of any common filament: above it a pole is air (the cavity of the cone), not plastic
)
WEAKEST_DB = -18.0  # own contribution over the rest; under it a pole is kept apart as weak
STRONG_DB = -6.0  # neighbours a weak mode is compared with
NARROW_BELOW_DB = -12.0  # a mode stronger than this is never called a bell mode on its damping alone
FREQUENCY_FLOOR = 20e-6  # relative: sample clock of an ordinary converter
LOSS_FACTOR_FLOOR = 2e-3  # relative: filters, the ripple of a calibration, a bell mode too near to be parted


@dataclass(frozen=True)
class Mode:
    """One resonance as recorded.

    A pole λ = −s² = ω0²(1 + jη): ``frequency_hz`` = √(Re λ)/2π, ``loss_factor`` = η = Im λ/Re λ. ``strength`` is its
    residue r, referred to the onset: it adds r/(jω − s) + r*/(jω − s*) to the response, in units of the response times
    rad/s. ``prominence_db`` is that contribution over the rest (total less its own) at its frequency. ``narrow`` marks
    what looks like a bell mode let through by an uneven wall: weak beside its neighbours and damped less than they are.
    """

    frequency_hz: float
    frequency_hz_u: float
    loss_factor: float
    loss_factor_u: float
    strength: complex
    prominence_db: float
    narrow: bool = False


@dataclass(frozen=True)
class ModeFit:
    """All modes found in one impulse response, by rising frequency.

    ``weak`` holds stable poles whose contribution is under −18 dB of the rest: bell modes, mostly. ``order`` is the
    number of poles (conjugates included) that stand over the noise, ``window_s`` what was fitted (from the onset),
    ``residual_over_noise`` the rms of what the fit leaves over that of the noise, near 1 where nothing but modes was
    there. ``reason`` says why there are no modes.
    """

    modes: tuple[Mode, ...]
    weak: tuple[Mode, ...]
    order: int
    window_s: tuple[float, float]
    residual_over_noise: float
    reason: str | None = None


@dataclass(frozen=True)
class _Run:
    """One record's fit at its own rank: poles s, their residues at the onset, deviations."""

    pole: Complex
    residue: Complex
    pole_sd: Complex
    residual_over_noise: float


def fit_modes(
    impulse: Real,
    sample_rate_hz: float,
    *,
    onset_s: float,
    length_s: float,
    noise: Real | None = None,
    band_hz: tuple[float, float] = (100.0, 16000.0),
    direct_s: float = DIRECT_S,
) -> ModeFit:
    """Find the modes in the reflection-free part of an impulse response.

    Parameters
    ----------
    impulse : ndarray, shape (n,)
        Impulse response, tapered at the ends of its band; any unit.
    sample_rate_hz : float
        Samples per second.
    onset_s : float
        Arrival of the direct sound (10 % of the peak), seconds from the first sample.
    length_s : float
        Reflection-free seconds after the onset.
    noise : ndarray, shape (m,), optional
        The same response where only noise is (between the harmonics, or late). Default: what precedes the onset by
        60 ms or more, or else 3 ms.
    band_hz : tuple of float
        Modes between these are given; the response is low-passed from the upper one on where the sample rate is much
        higher.
    direct_s : float
        Least time after the onset that is left out because more than modes is in it; with a limit under 16 kHz it grows
        in proportion.

    Returns
    -------
    ModeFit
        Uncertainties are root sums of squares of what noise does (first order), the scatter over orders and starts,
        and a floor of 20 ppm in frequency and 0.2 % of the loss factor.

    Raises
    ------
    ParameterError
        If the window does not lie in the record or a number is not finite.

    References
    ----------
    ESPRIT with a stabilisation over orders: R. Roy, T. Kailath, IEEE Trans. ASSP 37 (1989) 984. Here the orders follow
    from the noise, starts vary too, and nearness is measured in half bandwidths.
    """
    _check(impulse, sample_rate_hz, onset_s, length_s, band_hz)
    slower, rate_hz, first_s = _slower(impulse, sample_rate_hz, onset_s, length_s, band_hz[1])
    quiet = _noise(impulse, noise, sample_rate_hz, onset_s, band_hz[1])
    longer = max(LIMIT_HZ / band_hz[1], 1.0)
    window = (max(direct_s, longer * DIRECT_S), length_s - longer * REACH_S)
    stop = int((onset_s - first_s + window[1]) * rate_hz)
    starts = [int((onset_s - first_s + window[0] + share * length_s) * rate_hz) for share in LATER_STARTS]
    if stop - starts[-1] < SHORTEST_RECORD:
        short = f"the reflection-free part is only {1e3 * length_s:.1f} ms long; move the reflecting surface away"
        return ModeFit((), (), 0, window, float("nan"), short)
    if not np.any(slower[starts[0] : stop]):
        return ModeFit((), (), 0, window, float("nan"), "the impulse response is zero after its onset")
    onset = (onset_s - first_s) * rate_hz
    tried = [_try_orders(slower[start:stop], quiet) for start in starts]
    candidates = [_decaying(_continuous(z, rate_hz)) for poles, _ in tried for z in poles]
    groups = _stable(candidates)
    middle = np.array([_middle(g) for g in groups], dtype=np.complex128)
    runs = []
    for start, (poles, _) in zip(starts, tried, strict=True):
        others = _apart_from(_continuous(poles[ORDER_STEPS.index(0)], rate_hz), middle)
        runs.append(_fit_run(slower[start:stop], np.append(middle, others), quiet, rate_hz, start - onset))
    rank = int(median(rank for _, rank in tried))
    found = [_mode(group, i, runs) for i, group in enumerate(groups)]
    inside = [m for m in found if m is not None and band_hz[0] <= m.frequency_hz <= band_hz[1]]
    total = _Total(slower[:stop], rate_hz, onset, runs[0])
    weighed = sorted((total.weigh(m) for m in inside), key=lambda m: m.frequency_hz)
    marked = _mark_narrow(weighed)
    modes = tuple(m for m in marked if m.prominence_db >= WEAKEST_DB)
    weak = tuple(m for m in marked if m.prominence_db < WEAKEST_DB)
    reason = None if modes else "no pole is stable over orders and starts and stands out of the rest"
    return ModeFit(modes, weak, rank, window, runs[0].residual_over_noise, reason)


def _check(impulse: Real, sample_rate_hz: float, onset_s: float, length_s: float, band_hz: tuple[float, float]) -> None:
    if impulse.ndim != 1 or not np.all(np.isfinite(impulse)):
        raise ParameterError("impulse must be one row of finite numbers; look for NaN in the recording")
    if not 0.0 < band_hz[0] < band_hz[1] <= 0.5 * sample_rate_hz:
        raise ParameterError(
            f"band_hz must rise within half the sample rate, {sample_rate_hz / 2:g} Hz (got {band_hz})"
        )
    if not (length_s > 0.0 and onset_s >= 0.0 and onset_s + length_s <= impulse.size / sample_rate_hz):
        raise ParameterError(
            f"onset_s and length_s must lie in the impulse response, {impulse.size / sample_rate_hz:g} s long "
            f"(got {onset_s:g} and {length_s:g}); shorten the gate"
        )


def _slower(
    impulse: Real, sample_rate_hz: float, onset_s: float, length_s: float, top_hz: float
) -> tuple[Real, float, float]:
    """Cut out the neighbourhood of the window, at the lowest rate that holds the band: signal, rate, first second."""
    margin_s = 20e-3 * max(LIMIT_HZ / top_hz, 1.0)
    first = max(int((onset_s - margin_s) * sample_rate_hz), 0)
    last = min(int((onset_s + length_s + margin_s) * sample_rate_hz) + 1, impulse.size)
    thinned, rate_hz = _thin(impulse[first:last], sample_rate_hz, top_hz)
    return thinned, rate_hz, first / sample_rate_hz


def _thin(signal: Real, sample_rate_hz: float, top_hz: float) -> tuple[Real, float]:
    """Low-pass (raised cosine, 1 to 1.25 × top_hz) and keep every so manieth sample, where the rate allows it."""
    factor = int(sample_rate_hz / (2.2 * 1.25 * top_hz))
    if factor < 2:
        return np.asarray(signal, dtype=np.float64), sample_rate_hz
    size = scipy.fft.next_fast_len(2 * signal.size, real=True)
    frequency_hz = scipy.fft.rfftfreq(size, 1.0 / sample_rate_hz)
    fade = np.clip((frequency_hz / top_hz - 1.0) / 0.25, 0.0, 1.0)
    filtered = scipy.fft.irfft(scipy.fft.rfft(signal, size) * (0.5 + 0.5 * np.cos(np.pi * fade)), size)
    return np.asarray(filtered[: signal.size : factor]), sample_rate_hz / factor


def _noise(impulse: Real, noise: Real | None, sample_rate_hz: float, onset_s: float, top_hz: float) -> Real:
    """Return noise at the slower rate; empty where there is none to be had."""
    if noise is None:
        before_s = 60e-3 if onset_s > 120e-3 else 3e-3  # the taper at the low end of the band rings before the onset
        last = max(int((onset_s - before_s) * sample_rate_hz), 0)
        noise = impulse[max(last - int(0.2 * sample_rate_hz), 0) : last]
    if noise.size < 4 * SHORTEST_RECORD:
        return np.zeros(0)
    return _thin(noise, sample_rate_hz, top_hz)[0]


def _try_orders(record: Real, quiet: Real) -> tuple[list[Complex], int]:
    """Return poles for every order step, and the rank that stands over the noise."""
    rows = record.size // 2
    highest = min(HIGHEST_ORDER, record.size // 3)
    directions, singular = signal_subspace(record, rows, highest)
    if quiet.size:
        edge = largest_singular_value(np.resize(quiet, record.size), rows)  # a short stretch is repeated
        rank = int(np.count_nonzero(singular > edge))
    else:
        rank = highest
    rank = min(max(rank, LOWEST_ORDER - ORDER_STEPS[0]), highest - ORDER_STEPS[-1])
    return poles_by_order(directions, [rank + step for step in ORDER_STEPS]), rank


def _continuous(poles: Complex, rate_hz: float) -> Complex:
    """Return s of one of each conjugate pair, by rising frequency; real and growing ones too."""
    return np.asarray(np.log(upper_half(poles)) * rate_hz)


def _decaying(poles: Complex) -> Complex:
    """Keep what can be a mode: decaying, oscillating, less damped than twice the highest loss factor."""
    return np.asarray(poles[(poles.real < 0.0) & (-poles.real < HIGHEST_LOSS_FACTOR * poles.imag)])


def _apart_from(poles: Complex, stable: Complex) -> Complex:
    """Return the poles that are no double of a stable one: a pole split in two by noise would deny both any meaning."""
    if not stable.size:
        return poles
    distance = np.abs(poles[:, None] - stable[None, :]) / -stable.real[None, :]
    return np.asarray(poles[distance.min(axis=1) > 1.0])


def _fit_run(record: Real, s: Complex, quiet: Real, rate_hz: float, after_onset: float) -> _Run:
    """Fit a record from first poles s, refer amplitudes to the onset."""
    covariance = autocovariance(quiet, record.size) if quiet.size else np.zeros(record.size)
    fit = fit_decay(record, s / rate_hz, covariance)
    power = float(np.mean(fit.residual**2)) * record.size / max(record.size - 4 * s.size, record.size // 4)
    back = -fit.pole * after_onset  # what dies within a few samples is no mode: its height at the onset means nothing
    residue = fit.amplitude * np.exp(np.minimum(back.real, LARGEST_EXPONENT) + 1j * back.imag) * rate_hz
    ratio = float(np.sqrt(power / covariance[0])) if covariance[0] > 0.0 else float("nan")
    return _Run(np.asarray(fit.pole * rate_hz), np.asarray(residue), np.asarray(fit.pole_sd * rate_hz), ratio)


def _stable(candidates: list[Complex]) -> list[Complex]:
    """Group poles of all runs that lie within a share of their half bandwidth; at most one a run."""
    pole = np.concatenate(candidates)
    run = np.repeat(np.arange(len(candidates)), [c.size for c in candidates])
    needed = SHARE_OF_RUNS * len(candidates)
    apart = np.abs(pole[:, None] - pole[None, :])
    near = apart <= NEAR * np.minimum(-pole.real[:, None], -pole.real[None, :])
    free = np.ones(pole.size, dtype=bool)
    groups = []
    while free.any():
        votes = np.where(free, near @ free.astype(np.int64), 0)
        centre = int(np.argmax(votes))
        if votes[centre] < needed:
            break
        members = np.flatnonzero(near[centre] & free)
        members = members[np.argsort(apart[centre, members], kind="stable")]
        nearest = members[np.unique(run[members], return_index=True)[1]]
        if nearest.size >= needed:
            groups.append(np.asarray(pole[nearest]))
        free[members] = False
    return groups


def frequency_and_loss(pole: complex) -> tuple[float, float]:
    """Return frequency (Hz) and loss factor of a pole s, by λ = −s² = ω0²(1 + jη).

    Parameters
    ----------
    pole : complex
        s = −σ + jω, 1/s.

    Returns
    -------
    tuple of float
        √(Re λ)/2π and Im λ/Re λ; NaN where Re λ is not positive (more than critically damped).

    Examples
    --------
    >>> frequency_hz, loss_factor = frequency_and_loss((-(2000.0 * 3.141592653589793) ** 2 * (1 + 0.03j)) ** 0.5)
    >>> round(frequency_hz, 6), round(loss_factor, 9)
    (1000.0, 0.03)
    """
    squared = -pole * pole
    if squared.real <= 0.0:
        return float("nan"), float("nan")
    return float(np.sqrt(squared.real) / (2.0 * np.pi)), abs(float(squared.imag / squared.real))


def _middle(values: Complex) -> complex:
    return complex(median(values.real.tolist()), median(values.imag.tolist()))


def _mode(cluster: Complex, index: int, runs: list[_Run]) -> Mode | None:
    """Turn a group of poles, the ``index``-th of every run, into a mode without prominence; None if it is not one."""
    pole = _middle(cluster)
    noise = _middle(np.array([run.pole_sd[index] for run in runs]))
    noise_real, noise_imaginary = noise.real, noise.imag
    if not max(noise_real, noise_imaginary) < NEAR * -pole.real:  # noise alone could have put it there
        return None
    refined = np.array([run.pole[index] for run in runs])
    if abs(_middle(refined) - pole) < NEAR * -pole.real:
        pole = _middle(refined)
    frequency_hz, loss_factor = frequency_and_loss(pole)
    if not 0.0 < loss_factor < HIGHEST_LOSS_FACTOR:
        return None
    away = np.array([frequency_and_loss(complex(p)) for p in cluster]) - (frequency_hz, loss_factor)
    scatter_hz, scatter_loss = np.sqrt(np.mean(away**2, axis=0))
    strength = _middle(np.array([run.residue[index] for run in runs]))
    return Mode(
        frequency_hz,
        float(np.sqrt(scatter_hz**2 + (noise_imaginary / (2 * np.pi)) ** 2 + (FREQUENCY_FLOOR * frequency_hz) ** 2)),
        loss_factor,
        float(np.sqrt(scatter_loss**2 + (2 * noise_real / abs(pole)) ** 2 + (LOSS_FACTOR_FLOOR * loss_factor) ** 2)),
        strength,
        float("nan"),
    )


def pole_of(mode: Mode) -> complex:
    """Return the pole s of a mode, upper half plane.

    Parameters
    ----------
    mode : Mode
        Frequency in Hz and loss factor.

    Returns
    -------
    complex
        s with −s² = (2πf)²(1 + jη), Re s < 0, Im s > 0; 1/s.
    """
    root = 2.0 * np.pi * mode.frequency_hz * np.sqrt(1.0 + 1j * mode.loss_factor)
    return complex(1j * root)


class _Total:
    """The whole response at any frequency: what was recorded up to the gate, and its fitted end beyond."""

    def __init__(self, record: Real, rate_hz: float, onset: float, run: _Run) -> None:
        self.record, self.rate_hz, self.onset, self.run = record, rate_hz, onset, run

    def at(self, frequency_hz: float) -> complex:
        omega = 2.0 * np.pi * frequency_hz
        time_s = (np.arange(self.record.size) - self.onset) / self.rate_hz
        recorded = complex(self.record @ np.cos(omega * time_s), -(self.record @ np.sin(omega * time_s))) / self.rate_hz
        end_s = (self.record.size - 0.5 - self.onset) / self.rate_hz
        s, r = self.run.pole, self.run.residue / self.rate_hz
        beyond = r * np.exp((s - 1j * omega) * end_s) / (1j * omega - s)
        mirrored = np.conj(r) * np.exp((np.conj(s) - 1j * omega) * end_s) / (1j * omega - np.conj(s))
        return complex(recorded + np.sum(beyond + mirrored))

    def weigh(self, mode: Mode) -> Mode:
        omega = 2.0 * np.pi * mode.frequency_hz
        pole, residue = pole_of(mode), mode.strength / self.rate_hz
        own = residue / (1j * omega - pole) + np.conj(residue) / (1j * omega - np.conj(pole))
        rest = abs(self.at(mode.frequency_hz) - own)
        prominence_db = 20.0 * np.log10(abs(own) / rest) if rest > 0.0 and own != 0 else 200.0
        return replace(mode, prominence_db=float(np.clip(prominence_db, -200.0, 200.0)))


def _mark_narrow(modes: list[Mode]) -> list[Mode]:
    """Mark weak modes that are damped less than their strong neighbours, by more than their uncertainties."""
    strong = [m for m in modes if m.prominence_db >= STRONG_DB]
    out = []
    for mode in modes:
        below = [m for m in strong if m.frequency_hz < mode.frequency_hz][-1:]
        above = [m for m in strong if m.frequency_hz > mode.frequency_hz][:1]
        beside = below + above
        less = all(
            mode.loss_factor + 2.0 * np.hypot(mode.loss_factor_u, m.loss_factor_u) < m.loss_factor for m in beside
        )
        out.append(replace(mode, narrow=bool(beside) and less and mode.prominence_db < NARROW_BELOW_DB))
    return out
