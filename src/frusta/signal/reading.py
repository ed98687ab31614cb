"""From one recording to a reading: every figure of a take, its uncertainty, and the reason where there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.blips import Blip, find_blips
from frusta.signal.breakup import Breakup, find_breakup
from frusta.signal.calibration import Calibration
from frusta.signal.clock import ClockError, correct_clock, estimate_clock_ppm
from frusta.signal.decay import Envelope, bandlimit_decay_s, decay_map, decay_time, envelope_of
from frusta.signal.delay import group_delay_s
from frusta.signal.fault import Fault, Quality, SweepPlace
from frusta.signal.faults import fault_of_clock, fault_of_reflections, faults_of_signal, faults_of_sweep, judge
from frusta.signal.gate import Gate, find_gate, find_onset, gate_window, spectrum_at
from frusta.signal.harmonic_peaks import distortion_peaks
from frusta.signal.harmonics import Harmonics, no_harmonics, read_harmonics
from frusta.signal.level import (
    REFERENCE_PA,
    Figure,
    RigidResponse,
    frequency_limits,
    level_db,
    piston_limit_hz,
    tallest_peak,
    unevenness_db,
)
from frusta.signal.modes import Mode, ModeFit, fit_modes
from frusta.signal.ring_on import ring_on
from frusta.signal.smoothing import log_grid
from frusta.signal.source import Source, source_of_nothing, source_of_reference, source_of_signal, source_of_sweep
from frusta.signal.sweep import Sweep
from frusta.signal.tap import read_tap
from frusta.signal.transfer import Deconvolved, band_of_sweep, sound_speed_m_s, stretch, transform_length

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Kind = Literal["sweep", "impulse", "tap"]

IMPULSE_BEFORE_S, IMPULSE_AFTER_S = 0.005, 0.25
LEAD_S = 0.003  # kept before the onset: the tapers of the band ring ahead
MODE_GATE_S = 0.008  # longest stretch in which modes are sought
SNR_BAND_HZ = (200.0, 10000.0)
MAP_TIMES_S = np.arange(0.0, 0.0201, 0.0005)

FIGURES = (
    "level_db",
    "lower_limit_hz",
    "upper_limit_hz",
    "unevenness_db",
    "unevenness_common_db",
    "breakup_hz",
    "breakup_loss_factor",
    "breakup_prominence_db",
    "tallest_peak_hz",
    "tallest_peak_db",
    "piston_limit_hz",
    "thd_peak_percent",
    "thd_peak_hz",
    "piston_thd_peak_percent",
    "piston_thd_peak_hz",
    "input_thd_peak_percent",
    "input_thd_peak_hz",
    "buzz_peak_percent",
    "buzz_peak_hz",
    "decay_5_percent_ms",
    "decay_2_percent_ms",
    "decay_bandlimit_ms",
    "delay_ms",
    "snr_db",
    "clock_ppm",
)
NO_RESPONSE = ("silent", "wrong-sweep", "misaligned")  # what was divided is not the answer to what was played
LEVEL_FIGURES = (*FIGURES[:4], "tallest_peak_hz", "tallest_peak_db", "piston_limit_hz")


@dataclass(frozen=True)
class TakeSignals:
    """The samples of one take.

    Attributes
    ----------
    recording : ndarray, shape (n,)
        The microphone, re digital full scale.
    sample_rate_hz : float
        Of every signal here.
    reference : ndarray, shape (n,), or None
        A loopback of what was played, recorded beside the microphone.
    played : ndarray, shape (m,), or None
        What was played, where it comes as a file.
    sweep : Sweep or None
        What was played, where it was made here.
    kind : {"sweep", "impulse", "tap"}
        What the recording is.
    subtype_bits : int or None
        Bits of a sample of the file; None if unknown or floating point.
    """

    recording: Floats
    sample_rate_hz: float
    reference: Floats | None = None
    played: Floats | None = None
    sweep: Sweep | None = None
    kind: Kind = "sweep"
    subtype_bits: int | None = None


@dataclass(frozen=True)
class Conditions:
    """What must be known besides the samples.

    Attributes
    ----------
    full_scale_pa : float or None
        Peak pressure at digital full scale, Pa; None: levels are relative.
    drive_gain_db : float
        Gain of the drive during the take, dB; taken off the level.
    temperature_c : float
        Of the air, degrees Celsius.
    calibration : Calibration or None
        Of the microphone.
    rigid : RigidResponse or None
        The rigid cone's own response.
    gate_s : float or None
        Length of the gate set by hand, s.
    """

    full_scale_pa: float | None = None
    drive_gain_db: float = 0.0
    temperature_c: float = 20.0
    calibration: Calibration | None = None
    rigid: RigidResponse | None = None
    gate_s: float | None = None


@dataclass(frozen=True)
class Curves:
    """Curves on one frequency grid of 96 points an octave; names as in the files. NaN where nothing can be read.

    Attributes
    ----------
    frequency_hz : ndarray, shape (m,)
    level_db : ndarray, shape (m,)
        Gated, corrected response, same reference as the figure of that name.
    phase_deg : ndarray, shape (m,)
        Its phase, referred to the onset of the direct sound, -180 to 180.
    ungated_db : ndarray, shape (m,)
        The response with the room in it.
    rigid_db : ndarray, shape (m,)
        The rigid cone's, brought to the same level.
    harmonics : dict of str to ndarray, shape (m,)
        h2_db ... buzz_input_db, dB re the fundamental at the drive frequency; also to be had as attributes.
    """

    frequency_hz: Floats
    level_db: Floats
    phase_deg: Floats
    ungated_db: Floats
    rigid_db: Floats
    harmonics: dict[str, Floats] = field(default_factory=dict)

    def __getattr__(self, name: str) -> Floats:
        """Return a harmonic's curve by its column name."""
        harmonics: dict[str, Floats] = self.__dict__.get("harmonics", {})
        if name in harmonics:
            return harmonics[name]
        raise AttributeError(name)


@dataclass(frozen=True)
class DecayMap:
    """Level left after each time, dB; `level_db` has one row a time and one column a frequency."""

    time_s: Floats
    frequency_hz: Floats
    level_db: Floats


@dataclass(frozen=True)
class TakeReading:
    """All that is drawn from one take.

    Attributes
    ----------
    figures : dict of str to float or None
        Keys are `FIGURES`.
    uncertainties : dict of str to float
        Standard uncertainties, key and ``_u``, where honest.
    reasons : dict of str to str
        Why a figure is None; also that levels are relative.
    quality : {"ok", "look", "repeat"}
    faults : tuple of Fault
    modes : tuple of Mode
    blips : tuple of Blip
    curves : Curves or None
    impulse : ndarray
        Ungated, not corrected for the microphone, polarity kept; from `impulse_before_s` before the onset.
    impulse_before_s : float
    sample_rate_hz : float
        Of `impulse` and `envelope`: nominal, the clock error is taken out by resampling.
    polarity : int
        Sign of the first strong swing of the direct sound: 1, -1, or 0 where there is none.
    envelope : Envelope or None
    decay_map : DecayMap or None
    group_delay : ndarray, shape (m,)
        On the grid of the curves, s, referred to the onset.
    gate : Gate or None
    mode_fit : ModeFit or None
    """

    figures: dict[str, float | None]
    uncertainties: dict[str, float]
    reasons: dict[str, str]
    quality: Quality
    faults: tuple[Fault, ...]
    modes: tuple[Mode, ...]
    blips: tuple[Blip, ...]
    curves: Curves | None
    impulse: Floats
    impulse_before_s: float
    sample_rate_hz: float
    polarity: int
    envelope: Envelope | None
    decay_map: DecayMap | None
    group_delay: Floats
    gate: Gate | None
    mode_fit: ModeFit | None = None


class _Sheet:
    """Figures as they are filled in."""

    def __init__(self) -> None:
        self.figures: dict[str, float | None] = dict.fromkeys(FIGURES)
        self.uncertainties: dict[str, float] = {}
        self.reasons: dict[str, str] = {}

    def put(self, key: str, value: float | None, u: float | None = None, reason: str | None = None) -> None:
        """Write one figure, or why there is none."""
        if value is None or not math.isfinite(value):
            self.reasons[key] = reason or "it cannot be read from this take"
            return
        self.figures[key] = float(value)
        if u is not None and math.isfinite(u):
            self.uncertainties[f"{key}_u"] = float(u)

    def put_figure(self, key: str, figure: Figure, u: float | None = None) -> None:
        """Write a `Figure`."""
        self.put(key, figure.value, u if u is not None else figure.u, figure.reason)

    def refuse(self, reason: str) -> None:
        """Leave every figure that is still open without a value, for one reason."""
        for key, value in self.figures.items():
            if value is None:
                self.reasons.setdefault(key, reason)


def read_take(signals: TakeSignals, conditions: Conditions) -> TakeReading:
    """Read every figure of one take.

    Parameters
    ----------
    signals : TakeSignals
    conditions : Conditions

    Returns
    -------
    TakeReading
        Never raises for a bad recording: its figures are None with the reason, its faults say what to do.

    Raises
    ------
    ParameterError
        If the signals contradict each other: nothing was played, shapes or rates are impossible.
    """
    _check(signals)
    if float(np.abs(signals.recording).max()) == 0.0:
        faults = faults_of_signal(signals.recording, signals.sample_rate_hz)
        return _nothing("the recording is silent throughout", signals, faults)
    if signals.kind == "tap":
        return _read_tap(signals)
    count = transform_length(*(s.size for s in _signals_of(signals)))
    source = _source(signals, count)
    spectrum = fft.rfft(signals.recording, count) * source.inverse
    response = Deconvolved(fft.irfft(spectrum, count), spectrum, source.taper, signals.sample_rate_hz, source.band)
    clock = _clock(response, source, signals)
    if clock is not None and abs(clock.ppm) > 2.0 * clock.ppm_u:
        response, clock = _corrected(response, source, clock, source.rate_s or math.nan)
    return _read_response(response, source, clock, signals, conditions)


def _signals_of(signals: TakeSignals) -> list[Floats]:
    given = [signals.recording, signals.reference, signals.played]
    sizes = [s for s in given if s is not None]
    if signals.sweep is not None:
        sizes.append(np.empty(signals.sweep.samples))
    return sizes


def _check(signals: TakeSignals) -> None:
    for name in ("recording", "reference", "played"):
        samples = getattr(signals, name)
        if samples is None:
            continue
        if samples.ndim != 1 or samples.size < 64 or not np.isfinite(samples).all():
            raise ParameterError(
                f"{name} must be one channel of at least 64 finite samples (got shape {samples.shape}); export it again"
            )
    if signals.kind not in ("sweep", "impulse", "tap"):
        raise ParameterError(f"kind must be sweep, impulse or tap (got {signals.kind!r})")
    if signals.sweep is not None and signals.sweep.sample_rate_hz != signals.sample_rate_hz:
        raise ParameterError(
            f"the recording must have the sweep's sample rate, {signals.sweep.sample_rate_hz} Hz "
            f"(got {signals.sample_rate_hz:g} Hz); record again at that rate"
        )
    if signals.kind == "sweep" and signals.sweep is None and signals.played is None and signals.reference is None:
        raise ParameterError(
            "a sweep take needs what was played: a sweep, a file of it, or a reference channel (got none); name it"
        )


def _source(signals: TakeSignals, count: int) -> Source:
    """What to divide by: the reference where there is one, else what was played."""
    rate = signals.sample_rate_hz
    if signals.kind == "impulse":
        band = band_of_sweep(signals.sweep) if signals.sweep is not None else None
        return source_of_nothing(rate, count, band)
    known = None
    if signals.sweep is not None:
        known = source_of_sweep(signals.sweep, count)
    elif signals.played is not None:
        known = source_of_signal(signals.played, rate, count)
    if signals.reference is not None:
        return source_of_reference(signals.reference, rate, count, known)
    if known is None:
        raise ParameterError("nothing was played: give a sweep, a file of it, or a reference channel")
    return known


def _clock(response: Deconvolved, source: Source, signals: TakeSignals) -> ClockError | None:
    """The clock error that the take shows; None where it cannot show one."""
    if source.rate_s is None or signals.kind == "impulse":
        return None
    if source.by_reference:
        return None
    _, peak = find_onset(response.impulse, response.sample_rate_hz)
    found = estimate_clock_ppm(response, source.rate_s, peak, synchronised=source.synchronised)
    return found if math.isfinite(found.ppm_u) else None


def _corrected(
    response: Deconvolved, source: Source, first: ClockError, rate_s: float
) -> tuple[Deconvolved, ClockError]:
    """Take the clock error out; look again, since a sharper response tells it better."""
    once = correct_clock(response, first.ppm, rate_s, source.start_hz, source.begin_s)
    _, peak = find_onset(once.impulse, once.sample_rate_hz)
    rest = estimate_clock_ppm(once, rate_s, peak, synchronised=source.synchronised, largest_ppm=200.0)
    if not math.isfinite(rest.ppm_u):
        return once, first
    clock = replace(rest, ppm=first.ppm + rest.ppm)
    if abs(rest.ppm) > max(0.5, rest.ppm_u):
        once = correct_clock(response, clock.ppm, rate_s, source.start_hz, source.begin_s)
    return once, clock


def _read_response(
    response: Deconvolved,
    source: Source,
    clock: ClockError | None,
    signals: TakeSignals,
    conditions: Conditions,
) -> TakeReading:
    sheet = _Sheet()
    rate_hz = response.sample_rate_hz
    gate = find_gate(response, sound_speed_m_s(conditions.temperature_c), conditions.gate_s)
    onset = round(gate.onset_s * rate_hz)
    quiet = _quiet(response, source, gate, onset)
    grid = _grid(response)
    scale = _pascals(source, conditions) / _gain(grid, conditions) / _taper_at(grid, response)
    modes = _modes(response, source, gate, onset, quiet)
    spectra = _Spectra(response, onset, gate, grid, scale, quiet, modes)
    _put_levels(sheet, spectra, gate, conditions, source)
    _put_snr(sheet, spectra)
    _put_clock(sheet, clock, source, signals)
    shape = envelope_of(response, onset, source.band.stop_hz)
    _put_decays(sheet, shape, gate, source, rate_hz)
    delay_u = 1.0 / rate_hz / math.sqrt(12.0)
    sheet.put("delay_ms", 1e3 * gate.onset_s, 1e3 * delay_u)
    breakup = find_breakup(modes)
    breakup_hz = _put_breakup(sheet, breakup)
    harmonics = _harmonics(response, source, onset, grid, spectra.gated)
    _put_distortion(sheet, harmonics, breakup_hz)
    sheet.refuse("it cannot be read from this take")
    rings_on = sheet.figures["decay_5_percent_ms"] is None
    verdict = judge(_faults(response, source, clock, gate, onset, signals, rings_on))
    for fault in verdict.faults:
        if fault.fault in NO_RESPONSE and fault.quality == "repeat":
            return _nothing(f"{fault.fault}, {fault.where}: {fault.what_to_do}", signals, verdict.faults)
    delay = group_delay_s(grid, spectra.gated)
    nominal = rate_hz if clock is None else signals.sample_rate_hz
    return TakeReading(
        sheet.figures,
        sheet.uncertainties,
        sheet.reasons,
        verdict.quality,
        verdict.faults,
        modes.modes,
        find_blips(modes, breakup),
        _curves(spectra, harmonics, conditions, sheet),
        _impulse(response, onset, nominal),
        IMPULSE_BEFORE_S,
        nominal,
        _polarity(response, onset),
        shape,
        _map(response, onset, source),
        delay,
        gate,
        modes,
    )


def _grid(response: Deconvolved) -> Floats:
    """The grid of the curves: where the taper leaves at least a tenth."""
    band = response.band
    grid = log_grid(band.start_hz, band.stop_hz)
    return np.asarray(grid[_taper_at(grid, response) >= 0.1])


def _taper_at(grid: Floats, response: Deconvolved) -> Floats:
    step_hz = response.sample_rate_hz / response.impulse.size
    return np.asarray(np.interp(grid, np.arange(response.taper.size) * step_hz, response.taper))


def _gain(grid: Floats, conditions: Conditions) -> Complexes:
    if conditions.calibration is None:
        return np.ones(grid.size, dtype=np.complex128)
    return conditions.calibration.gain_at(grid)


def _pascals(source: Source, conditions: Conditions) -> float:
    """From digital full scale per digital full scale to rms pressure re 20 uPa at the sweep's level and 0 dB gain."""
    full_scale = REFERENCE_PA if conditions.full_scale_pa is None else conditions.full_scale_pa
    gain = float(10.0 ** (-conditions.drive_gain_db / 20.0))
    return source.amplitude / math.sqrt(2.0) * full_scale / REFERENCE_PA * gain


def _quiet(response: Deconvolved, source: Source, gate: Gate, onset: int) -> Floats:
    """A stretch that holds only noise: between the linear response and its second harmonic, else before the onset."""
    rate_hz = response.sample_rate_hz
    longest = 0.25
    if source.rate_s is not None:
        longest = min(longest, 0.6 * source.rate_s * math.log(2.0))
    elif onset > 0:
        longest = min(longest, onset / rate_hz)
    rest_s = 0.004
    before = round(max(longest, 2.0 * rest_s) * rate_hz)
    return stretch(response.impulse, before, -round(rest_s * rate_hz), onset)


class _Spectra:
    """The gated response, ringing on as its modes do, and what it would be with a shorter gate or with other noise."""

    def __init__(
        self,
        response: Deconvolved,
        onset: int,
        gate: Gate,
        grid: Floats,
        scale: Complexes,
        quiet: Floats,
        modes: ModeFit,
    ) -> None:
        rate_hz = response.sample_rate_hz
        before, after = round(LEAD_S * rate_hz), max(8, round(gate.length_s * rate_hz))
        rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(before) + 0.5) / before)
        segment = stretch(response.impulse, before, after, onset)
        window = np.concatenate([rise, gate_window(after)])

        def at(samples: Floats, shape: Floats) -> Complexes:
            return np.asarray(scale * spectrum_at(samples[: shape.size] * shape, before, rate_hz, grid))

        self.grid = grid
        self.gate = gate
        noise_rms = float(np.std(quiet)) if quiet.size else 0.0

        def behind(length_s: float) -> Complexes:
            tail = ring_on(response, replace(gate, length_s=length_s), modes, noise_rms)
            return np.asarray(scale * spectrum_at(tail, 0, rate_hz, grid)) if tail.size else 0.0 * scale

        self.gated = at(segment, window) + behind(gate.length_s)
        self.power = np.abs(self.gated) ** 2
        short = at(segment, np.concatenate([rise, gate_window(max(8, round(0.8 * after)))]))
        self.shorter = np.abs(short + behind(0.8 * gate.length_s)) ** 2
        pieces = min(6, quiet.size // segment.size)
        noise = [at(quiet[k * segment.size : (k + 1) * segment.size], window) for k in range(pieces)]
        self.noise = np.array(noise) if noise else np.zeros((0, grid.size), dtype=np.complex128)
        long_before, long_after = round(0.02 * rate_hz), round(0.2 * rate_hz)
        fade = np.concatenate(
            [0.5 - 0.5 * np.cos(np.pi * np.arange(long_before) / long_before), gate_window(long_after)]
        )
        whole = stretch(response.impulse, long_before, long_after, onset) * fade
        self.ungated = np.asarray(scale * spectrum_at(whole, long_before, rate_hz, grid))

    def variants(self) -> list[Floats]:
        """Power of the response as it would be with other noise on it: pairs with the noise added and taken off."""
        return [np.abs(self.gated + noise) ** 2 for noise in self.noise[:2]]


def _level_figures(grid: Floats, power: Floats, lowest_hz: float, rigid: RigidResponse | None) -> dict[str, Figure]:
    """The figures of level of one version of the response."""
    reference = level_db(grid, power)
    seen = grid >= lowest_hz
    lower, upper = frequency_limits(grid[seen], power[seen], reference)
    if lower.value is None and lowest_hz > grid[0]:
        lower = Figure(None, None, f"below {lowest_hz:.0f} Hz, the lowest that a gate of this length resolves")
    top = upper.value if upper.value is not None else float(grid[-1])
    peak, prominence = tallest_peak(grid, power, float(grid[-1]))
    figures = {
        "level_db": Figure(reference),
        "lower_limit_hz": lower,
        "upper_limit_hz": upper,
        "unevenness_db": Figure(unevenness_db(grid, power, 200.0, top)) if top > 200.0 else Figure(None),
        "tallest_peak_hz": peak,
        "tallest_peak_db": prominence,
    }
    if rigid is None:
        figures["piston_limit_hz"] = Figure(None, None, "the rigid cone's own response is not known for this take")
    else:
        figures["piston_limit_hz"] = piston_limit_hz(grid, power, rigid)
    return figures


def _put_levels(sheet: _Sheet, spectra: _Spectra, gate: Gate, conditions: Conditions, source: Source) -> None:
    """Write the figures of level, with what noise and the gate's length leave of them as uncertainty."""
    grid, lowest_hz = spectra.grid, 1.0 / gate.length_s
    if lowest_hz > 300.0:
        reason = (
            f"the gate of {1e3 * gate.length_s:.1f} ms resolves nothing below {lowest_hz:.0f} Hz, so the piston band "
            "from 300 Hz has no level; move reflecting surfaces away"
        )
        for key in LEVEL_FIGURES:
            sheet.put(key, None, None, reason)
        return
    if grid[0] > 300.0 or grid[-1] < 1000.0:
        for key in LEVEL_FIGURES:
            sheet.put(key, None, None, "what was played does not cover the piston band, 300 Hz to 1 kHz")
        return
    main = _level_figures(grid, spectra.power, lowest_hz, conditions.rigid)
    gates = [_level_figures(grid, spectra.shorter, lowest_hz, conditions.rigid)]
    noises = [_level_figures(grid, power, lowest_hz, conditions.rigid) for power in spectra.variants()]
    for key, figure in main.items():
        sheet.put_figure(key, figure, _spread(figure, [g[key] for g in gates], [n[key] for n in noises]))
    if main["upper_limit_hz"].value is None and main["unevenness_db"].value is not None:
        sheet.reasons["unevenness_db"] = f"read up to {grid[-1]:.0f} Hz, the end of the band"
    sheet.put("unevenness_common_db", None, None, "set once all cones of the campaign are read")
    if conditions.full_scale_pa is None:
        sheet.reasons["level_db"] = "relative: no full_scale_pa is given, so 0 dB is digital full scale"


def _spread(main: Figure, gates: list[Figure], noises: list[Figure]) -> float | None:
    """Root sum of squares of what a shorter gate changes and of the noise's mean square."""
    if main.value is None:
        return None
    gate = [abs(g.value - main.value) for g in gates if g.value is not None]
    noise = [(n.value - main.value) ** 2 for n in noises if n.value is not None]
    return math.hypot(max(gate, default=0.0), math.sqrt(sum(noise) / len(noise)) if noise else 0.0)


def _put_snr(sheet: _Sheet, spectra: _Spectra) -> None:
    inside = (spectra.grid >= SNR_BAND_HZ[0]) & (spectra.grid <= SNR_BAND_HZ[1])
    if spectra.noise.shape[0] == 0 or not inside.any():
        sheet.put("snr_db", None, None, "nowhere in the take is there room to read its noise")
        return
    noise = np.mean(np.abs(spectra.noise[:, inside]) ** 2, axis=0)
    if not noise.min() > 0.0:
        sheet.put("snr_db", None, None, "the take holds no noise at all: it was made by calculation or gated")
        return
    ratio = 10.0 * np.log10(spectra.power[inside] / noise)
    independent = spectra.noise.shape[0] * max(1.0, spectra.gate.length_s * (SNR_BAND_HZ[1] - SNR_BAND_HZ[0]) / 2.0)
    # noise power in one bin scatters by 5.57 dB (chi-square of two degrees), its median by 1.25 times the mean's
    sheet.put("snr_db", float(np.median(ratio)), 1.25 * 5.57 / math.sqrt(independent))


def _put_clock(sheet: _Sheet, clock: ClockError | None, source: Source, signals: TakeSignals) -> None:
    if clock is not None:
        sheet.put("clock_ppm", clock.ppm, clock.ppm_u)
    elif source.by_reference:
        sheet.put("clock_ppm", None, None, "divided by the reference channel, which shares the recorder's clock")
    elif signals.kind == "impulse":
        sheet.put("clock_ppm", None, None, "an impulse response does not show the recorder's clock")
    elif source.rate_s is None:
        sheet.put("clock_ppm", None, None, source.reason)
    else:
        sheet.put("clock_ppm", None, None, "neither harmonics nor the linear response show it clearly enough")


def _put_decays(sheet: _Sheet, shape: Envelope, gate: Gate, source: Source, rate_hz: float) -> None:
    for key, share in (("decay_5_percent_ms", 0.05), ("decay_2_percent_ms", 0.02)):
        found = decay_time(shape, share, gate.length_s)
        time_ms = None if found.time_s is None else 1e3 * found.time_s
        sheet.put(key, time_ms, None if found.time_u is None else 1e3 * found.time_u, found.reason)
    limit_s = bandlimit_decay_s(source.band.stop_hz, source.band.full_low_hz, rate_hz)
    sheet.put("decay_bandlimit_ms", 1e3 * limit_s, 1e3 / rate_hz / math.sqrt(12.0))


def _modes(response: Deconvolved, source: Source, gate: Gate, onset: int, quiet: Floats) -> ModeFit:
    rate_hz, band = response.sample_rate_hz, source.band
    length_s = min(gate.length_s, MODE_GATE_S)
    before, after = round(0.03 * rate_hz), round((length_s + 0.03) * rate_hz)
    top = min(0.8 * band.stop_hz, 0.45 * rate_hz)
    return fit_modes(
        stretch(response.impulse, before, after, onset),
        rate_hz,
        onset_s=before / rate_hz,
        length_s=length_s,
        noise=quiet if quiet.size >= 256 else None,
        band_hz=(max(100.0, band.full_low_hz), top),
    )


def _put_breakup(sheet: _Sheet, found: Breakup) -> float | None:
    keys = ("breakup_hz", "breakup_loss_factor", "breakup_prominence_db")
    if found.mode is None:
        for key in keys:
            sheet.put(key, None, None, found.reason)
        return None
    mode = found.mode
    sheet.put("breakup_hz", mode.frequency_hz, mode.frequency_hz_u)
    sheet.put("breakup_loss_factor", mode.loss_factor, mode.loss_factor_u)
    # the prominence follows strength over rest: to first order the relative error of the loss factor
    sheet.put("breakup_prominence_db", mode.prominence_db, 8.686 * mode.loss_factor_u / mode.loss_factor)
    return mode.frequency_hz


def _harmonics(response: Deconvolved, source: Source, onset: int, grid: Floats, gated: Complexes) -> Harmonics:
    if source.rate_s is None:
        return no_harmonics(grid, source.band.stop_hz, source.reason or "no exponential sweep")
    band = (source.band.start_hz, source.band.stop_hz)
    return read_harmonics(response.impulse, response.sample_rate_hz, onset, source.rate_s, band, grid, np.abs(gated))


def _put_distortion(sheet: _Sheet, harmonics: Harmonics, breakup_hz: float | None) -> None:
    for stem, peak in distortion_peaks(harmonics, breakup_hz).named().items():
        sheet.put(f"{stem}_percent", peak.percent, peak.percent_u, peak.reason)
        # smoothed over a sixth of an octave: the place is known to a twelfth, uniformly
        u = None if peak.frequency_hz is None else peak.frequency_hz * math.log(2.0) / 12.0 / math.sqrt(3.0)
        sheet.put(f"{stem}_hz", peak.frequency_hz, u, peak.reason)


def _curves(spectra: _Spectra, harmonics: Harmonics, conditions: Conditions, sheet: _Sheet) -> Curves:
    grid = spectra.grid
    rigid = np.full(grid.size, np.nan)
    if conditions.rigid is not None and sheet.figures["level_db"] is not None:
        power = conditions.rigid.power_at(grid)
        known = np.isfinite(power)
        if known.any() and grid[known][0] <= 300.0 and grid[known][-1] >= 1000.0:
            shift = sheet.figures["level_db"] - level_db(grid[known], power[known])
            rigid[known] = 10.0 * np.log10(power[known] + 1e-300) + shift
    return Curves(
        grid,
        10.0 * np.log10(spectra.power + 1e-300),
        np.degrees(np.angle(spectra.gated)),
        20.0 * np.log10(np.abs(spectra.ungated) + 1e-300),
        rigid,
        harmonics.columns(),
    )


def _impulse(response: Deconvolved, onset: int, nominal_hz: float) -> Floats:
    """The impulse response round the direct sound at the nominal sample rate."""
    rate_hz = response.sample_rate_hz
    before, after = round(IMPULSE_BEFORE_S * nominal_hz), round(IMPULSE_AFTER_S * nominal_hz)
    if rate_hz == nominal_hz:
        return stretch(response.impulse, before, after, onset)
    margin = 64
    raw = stretch(response.impulse, before + margin, after + margin, onset)
    place = np.arange(-before, after) * (rate_hz / nominal_hz) + before + margin
    return interpolate(raw, np.asarray(place, dtype=np.float64))


def interpolate(signal: Floats, place: Floats, half_width: int = 24) -> Floats:
    """Return a signal between its samples, by a sinc under a raised-cosine-squared window.

    Parameters
    ----------
    signal : ndarray, shape (n,)
        Band limited to 0.9 of half its sample rate for an error below -80 dB.
    place : ndarray, shape (m,)
        Where, in samples; at least ``half_width`` from both ends.
    half_width : int
        Samples on either side that count.
    """
    whole = np.floor(place).astype(np.int64)
    part = place - whole
    total = np.zeros(place.size)
    weight = np.zeros(place.size)
    for step in range(1 - half_width, half_width + 1):
        distance = step - part
        kernel = np.sinc(distance) * np.cos(0.5 * np.pi * distance / half_width) ** 2
        total += kernel * signal[whole + step]
        weight += kernel
    return np.asarray(total / weight)


def _polarity(response: Deconvolved, onset: int) -> int:
    """Sign of the first swing of the direct sound that reaches half of the largest in its first half millisecond."""
    early = stretch(response.impulse, 2, max(8, round(0.0005 * response.sample_rate_hz)), onset)
    over = np.flatnonzero(np.abs(early) >= 0.5 * np.abs(early).max())
    return int(np.sign(early[over[0]]))


def _map(response: Deconvolved, onset: int, source: Source) -> DecayMap:
    top = min(0.95 * source.band.stop_hz, 20000.0)
    frequency = log_grid(max(200.0, source.band.full_low_hz), top, 24)
    return DecayMap(MAP_TIMES_S, frequency, decay_map(response, onset, frequency, MAP_TIMES_S))


def _faults(
    response: Deconvolved,
    source: Source,
    clock: ClockError | None,
    gate: Gate,
    onset: int,
    signals: TakeSignals,
    rings_on: bool,
) -> tuple[Fault, ...]:
    """Every fault of a take that was divided by what was played, or of an impulse response."""
    reflections = fault_of_reflections(gate.reflections, rings_on=rings_on)
    if signals.kind == "impulse":
        return faults_of_signal(signals.recording, signals.sample_rate_hz) + reflections
    if not source.as_named:
        where = "the whole reference channel: its bands do not arrive together"
        todo = "another sweep was played than the table names: name the one that was played, or play this one"
        return (
            *faults_of_signal(signals.recording, signals.sample_rate_hz),
            Fault("wrong-sweep", where, todo, "repeat"),
        )
    place = SweepPlace(source.begin_s, source.end_s, source.start_hz, source.stop_hz, source.rate_s)
    found = faults_of_sweep(signals.recording, response, onset, place, source.spectrum)
    if not any(f.fault in (*NO_RESPONSE, "truncated", "dropout") for f in found):
        found += reflections  # what is left of the response would look like one
    if clock is not None:
        found += fault_of_clock(clock.ppm, clock.ppm_u)
    return found


def _read_tap(signals: TakeSignals) -> TakeReading:
    """A struck rim or coupon: modes only."""
    rate_hz = signals.sample_rate_hz
    tap = read_tap(signals.recording, rate_hz)
    verdict = judge(faults_of_signal(signals.recording, rate_hz))
    reading = replace(
        _nothing("a tap shows modes only", signals, verdict.faults), quality=verdict.quality, modes=tap.modes
    )
    if not math.isfinite(tap.onset_s):
        return reading
    onset = round(tap.onset_s * rate_hz)
    before = round(IMPULSE_BEFORE_S * rate_hz)
    return replace(reading, impulse=stretch(signals.recording, before, round(IMPULSE_AFTER_S * rate_hz), onset))


def _nothing(reason: str, signals: TakeSignals, faults: tuple[Fault, ...]) -> TakeReading:
    """A reading without figures."""
    sheet = _Sheet()
    sheet.refuse(reason)
    return TakeReading(
        sheet.figures,
        {},
        sheet.reasons,
        "repeat",
        faults,
        (),
        (),
        None,
        np.zeros(0),
        IMPULSE_BEFORE_S,
        signals.sample_rate_hz,
        0,
        None,
        None,
        np.zeros(0),
        None,
    )
