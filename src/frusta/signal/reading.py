"""From one recording to a reading: every figure of a take, its uncertainty, and the reason where there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.signal.blips import Blip, find_blips
from frusta.signal.breakup import find_breakup
from frusta.signal.clock import ClockError, correct_clock, estimate_clock_ppm
from frusta.signal.curves import (
    IMPULSE_AFTER_S,
    IMPULSE_BEFORE_S,
    Curves,
    DecayMap,
    curves_of,
    impulse_of,
    interpolate,
    map_of,
    polarity_of,
)
from frusta.signal.decay import Envelope, envelope_of
from frusta.signal.delay import group_delay_s
from frusta.signal.fault import Fault, Quality, SweepPlace
from frusta.signal.faults import fault_of_clock, fault_of_reflections, faults_of_signal, faults_of_sweep, judge
from frusta.signal.figure_keys import FIGURES
from frusta.signal.gate import Gate, find_gate, find_onset
from frusta.signal.harmonics import Harmonics, no_harmonics, read_harmonics
from frusta.signal.level_reading import put_levels, put_snr
from frusta.signal.long_transform import long_irfft, long_rfft
from frusta.signal.modes import Mode, ModeFit, fit_modes
from frusta.signal.other_figures import put_breakup, put_clock, put_decays, put_distortion
from frusta.signal.sheet import Sheet
from frusta.signal.source import Source, source_of_nothing, source_of_reference, source_of_signal, source_of_sweep
from frusta.signal.spectra import Spectra, gain_at, grid_of, pascals, quiet_before, taper_at
from frusta.signal.take import Conditions, TakeSignals, check_take, signals_of
from frusta.signal.tap import read_tap
from frusta.signal.transfer import Deconvolved, band_of_sweep, sound_speed_m_s, stretch, transform_length

__all__ = [
    "FIGURES",
    "Conditions",
    "Curves",
    "DecayMap",
    "TakeReading",
    "TakeSignals",
    "interpolate",
    "read_take",
]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

MODE_GATE_S = 0.008  # longest stretch in which modes are sought
NO_RESPONSE = ("silent", "wrong-sweep", "misaligned")  # what was divided is not the answer to what was played


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
    check_take(signals)
    if float(np.abs(signals.recording).max()) == 0.0:
        faults = faults_of_signal(signals.recording, signals.sample_rate_hz)
        return _nothing("the recording is silent throughout", signals, faults)
    if signals.kind == "tap":
        return _read_tap(signals)
    count = transform_length(*(s.size for s in signals_of(signals)))
    source = _source(signals, count)
    spectrum = long_rfft(signals.recording, count) * source.inverse
    response = Deconvolved(long_irfft(spectrum, count), spectrum, source.taper, signals.sample_rate_hz, source.band)
    clock = _clock(response, source, signals)
    if clock is not None and abs(clock.ppm) > 2.0 * clock.ppm_u:
        response, clock = _corrected(response, source, clock, source.rate_s or math.nan)
    return _read_response(response, source, clock, signals, conditions)


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
    sheet = Sheet()
    rate_hz = response.sample_rate_hz
    gate = find_gate(response, sound_speed_m_s(conditions.temperature_c), conditions.gate_s)
    onset = round(gate.onset_s * rate_hz)
    quiet = quiet_before(response, source, gate, onset)
    grid = grid_of(response)
    scale = pascals(source, conditions) / gain_at(grid, conditions) / taper_at(grid, response)
    modes = _modes(response, source, gate, onset, quiet)
    spectra = Spectra(response, onset, gate, grid, scale, quiet, modes)
    put_levels(sheet, spectra, gate, conditions)
    put_snr(sheet, spectra)
    put_clock(sheet, clock, source, signals)
    shape = envelope_of(response, onset, source.band.stop_hz)
    put_decays(sheet, shape, gate, source, rate_hz)
    delay_u = 1.0 / rate_hz / math.sqrt(12.0)
    sheet.put("delay_ms", 1e3 * gate.onset_s, 1e3 * delay_u)
    breakup = find_breakup(modes)
    breakup_hz = put_breakup(sheet, breakup)
    harmonics = _harmonics(response, source, onset, grid, spectra.gated)
    put_distortion(sheet, harmonics, breakup_hz, spectra)
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
        curves_of(spectra, harmonics, conditions, sheet),
        impulse_of(response, onset, nominal),
        IMPULSE_BEFORE_S,
        nominal,
        polarity_of(response, onset),
        shape,
        map_of(response, onset, source),
        delay,
        gate,
        modes,
    )


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


def _harmonics(response: Deconvolved, source: Source, onset: int, grid: Floats, gated: Complexes) -> Harmonics:
    if source.rate_s is None:
        return no_harmonics(grid, source.band.stop_hz, source.reason or "no exponential sweep")
    band = (source.band.start_hz, source.band.stop_hz)
    return read_harmonics(response.impulse, response.sample_rate_hz, onset, source.rate_s, band, grid, np.abs(gated))


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
    sheet = Sheet()
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
