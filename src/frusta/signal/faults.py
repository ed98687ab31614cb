"""The verdict on a take: ok, look or repeat, with every fault, where it is and what to do."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.signal.band_arrivals import band_arrivals
from frusta.signal.clipping import find_clipping, find_quantum
from frusta.signal.fault import Fault, Quality, SweepPlace, place_in_words
from frusta.signal.gate import GUARD_S, Reflection
from frusta.signal.long_transform import long_rfft
from frusta.signal.residue import residue
from frusta.signal.sudden_events import find_breaks, find_events, judge_events
from frusta.signal.torn_samples import find_torn
from frusta.signal.transfer import Deconvolved
from frusta.signal.whole_sweep import check_whole_sweep

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

HOT_DBFS = -0.5
FAINT_BITS, TOO_FAINT_BITS = 9.0, 6.0
"""Bits that the loudest sample uses: below 9 the steps are 55 dB under the peak, below 6 there is no reading."""

FAINT_DBFS = -50.0
LITTLE_NOISE_DB, MUCH_NOISE_DB = 60.0, 50.0
"""Peak of the impulse response over its noise: at 50 dB modes still hold within 0.02 % in frequency and 1 % in loss
factor (tried out beforehand), below it nothing was tried."""

CLOCK_LOOK_PPM, CLOCK_REPEAT_PPM = 300.0, 1500.0
"""Crystals agree within 200 ppm. The correction holds to some 1000 ppm; beyond, something converts."""

PISTON_S, NEAR_S = 1.0 / 300.0, 0.005
STRONG_DB = -20.0
"""A gate shorter than 1/300 s resolves nothing of the piston band below 300 Hz, and modes need 3 to 5 ms; a copy of
10 % ripples by 0.9 dB."""


@dataclass(frozen=True)
class Verdict:
    """Quality of a take and its faults, the gravest first."""

    quality: Quality
    faults: tuple[Fault, ...]


def judge(faults: tuple[Fault, ...]) -> Verdict:
    """Return the verdict that follows from faults: the worst of theirs, ok without any."""
    rank = {"repeat": 0, "look": 1, "ok": 2}
    ordered = tuple(sorted(faults, key=lambda f: rank[f.quality]))
    return Verdict(ordered[0].quality if ordered else "ok", ordered)


def faults_of_signal(recording: Floats, sample_rate_hz: float, sweep: SweepPlace | None = None) -> tuple[Fault, ...]:
    """Return the faults that any recording can have, sweep or not: clipped, silent, level.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        One channel, full scale 1.0.
    sample_rate_hz : float
        Hz.
    sweep : SweepPlace, optional
        Where the sweep stands in the *recording*, to name the frequency.

    Returns
    -------
    tuple of Fault

    Raises
    ------
    ParameterError
        If the recording is not one channel of finite numbers, or the sample rate not positive.
    """
    if recording.ndim != 1 or recording.size < 2 or not np.isfinite(recording).all() or not sample_rate_hz > 0.0:
        raise ParameterError(f"the recording must be one channel of finite numbers (got shape {recording.shape})")
    high, low = float(recording.max()), float(recording.min())
    if high == low:
        todo = "check that amplifier and microphone are on and their cables plugged in, then sweep again"
        return (Fault("silent", "the whole recording, every sample the same", todo, "repeat"),)
    quantum = find_quantum(recording)
    clipping = find_clipping(recording, sample_rate_hz, quantum)
    if clipping:
        frequency = sweep.frequency_at(clipping.first_s) if sweep else None
        until = (
            f" until {clipping.last_s:.3f} s, {clipping.samples} samples at {20 * math.log10(clipping.level):.1f} dBFS"
        )
        todo = "turn the microphone's gain or the drive down by 6 dB and sweep again"
        where = place_in_words(clipping.first_s, frequency) + until
        return (Fault("clipped", where, todo, "repeat", clipping.first_s, frequency),)
    peak = max(high, -low)
    peak_dbfs = 20.0 * math.log10(peak)
    bits = math.log2(2.0 * peak / quantum) if quantum > 0.0 else math.inf
    if peak_dbfs > HOT_DBFS:
        at_s = float(np.argmax(np.abs(recording))) / sample_rate_hz
        todo = "turn the gain down by 6 dB: the next take may clip"
        return (Fault("level", f"at {at_s:.3f} s, peak {peak_dbfs:.1f} dBFS", todo, "look", at_s),)
    if bits < FAINT_BITS or peak_dbfs < FAINT_DBFS:
        todo = "turn the gain up until the peak stands at some -12 dBFS, then sweep again"
        quality: Quality = "repeat" if bits < TOO_FAINT_BITS else "look"
        used = f", {bits:.0f} bits used" if math.isfinite(bits) else ""
        return (Fault("level", f"the whole recording, peak {peak_dbfs:.0f} dBFS{used}", todo, quality),)
    return ()


def faults_of_sweep(
    recording: Floats,
    deconvolved: Deconvolved,
    onset: int,
    sweep: SweepPlace,
    played: Floats | Complexes,
) -> tuple[Fault, ...]:
    """Return the faults of a sweep take: those of any signal and those that the deconvolved response shows.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        One channel, full scale 1.0, as recorded.
    deconvolved : Deconvolved
        The recording over what was played (before or after correction of the clock).
    onset : int
        Index of the direct sound in the response, samples; negative ones wrap.
    sweep : SweepPlace
        Where the sweep stands in what was played; rate None if it is not exponential.
    played : ndarray
        What was played (or the reference that was divided by), or its spectrum at the transform length
        ``deconvolved.impulse.size`` (complex), which saves a transform.

    Returns
    -------
    tuple of Fault
    """
    rate = deconvolved.sample_rate_hz
    faults = list(faults_of_signal(recording, rate))
    if any(f.fault == "silent" for f in faults):
        return tuple(faults)
    whole = check_whole_sweep(recording, rate, band_arrivals(deconvolved), sweep)
    faults += whole.faults
    if whole.lag_s is None:
        faint = any(f.fault == "level" and f.quality == "repeat" for f in faults)
        absent = {f.fault for f in whole.faults} & {"silent", "wrong-sweep"}
        # so few steps that the sweep may not be found; otherwise the level of what is no sweep does not matter
        drop = {"wrong-sweep"} if faint else {"level"} if absent else set()
        return tuple(f for f in faults if f.fault not in drop)
    in_recording = SweepPlace(
        sweep.begin_s + whole.lag_s, sweep.end_s + whole.lag_s, sweep.start_hz, sweep.stop_hz, sweep.rate_s
    )
    faults = [f if f.fault != "clipped" else faults_of_signal(recording, rate, in_recording)[0] for f in faults]
    if not any(f.fault == "truncated" and f.quality == "repeat" for f in faults):
        faults += _noise(deconvolved, onset)  # half a sweep is half as loud: that is no noise
    named = {f.fault for f in faults if f.quality == "repeat"}
    if not named & {"clipped", "truncated", "clock"}:
        if np.iscomplexobj(played):
            spectrum = np.asarray(played, dtype=np.complex128)
        else:
            spectrum = long_rfft(np.real(played), deconvolved.impulse.size)
        rest = residue(deconvolved, spectrum, onset, sweep.rate_s, recording.size)
        torn = find_torn(recording, rate, find_quantum(recording), in_recording) if "dropout" not in named else ()
        faults += torn
        named |= {f.fault for f in torn}
        # the ends of the sweep, faded or cut, and tapered in the inverse, are no events
        top_hz = min(1.1 * deconvolved.band.full_high_hz, 0.95 * sweep.stop_hz)
        until_s = in_recording.time_of(top_hz) if sweep.rate_s is not None else in_recording.end_s - 0.02
        events = find_events(rest, in_recording.begin_s + 0.05, min(until_s, in_recording.end_s - 0.02))
        if events and "dropout" not in named:
            faults += judge_events(recording, rest, deconvolved, sweep, onset, events)
        if not any(f.fault in ("dropout", "burst", "noisy") for f in faults):
            faults += find_breaks(deconvolved, onset, sweep)
    return tuple(faults)


def _noise(deconvolved: Deconvolved, onset: int) -> list[Fault]:
    impulse = deconvolved.impulse
    peak = float(np.abs(np.take(impulse, np.arange(onset - 100, onset + 2000), mode="wrap")).max())
    noise = float(np.median(np.abs(impulse[:: max(1, impulse.size // 20000)]))) / 0.6745
    over_db = 20.0 * math.log10(max(peak, 1e-30) / max(noise, 1e-30))
    if over_db >= LITTLE_NOISE_DB:
        return []
    quality: Quality = "repeat" if over_db < MUCH_NOISE_DB else "look"
    todo = "make the room quieter, sweep louder or longer, or move the microphone closer"
    return [Fault("noisy", f"the whole recording: the response stands {over_db:.0f} dB over its noise", todo, quality)]


def fault_of_reflections(
    reflections: tuple[Reflection, ...], drive_sweep: bool = True, rings_on: bool = True
) -> tuple[Fault, ...]:
    """Return the fault of a close reflection, if there is one.

    It spoils a take if it is strong and leaves less than the piston band needs of a sound that still rings: level,
    decay and the first modes are gone. A sound that has died by then has lost the band below the gate's lowest
    frequency only, and a later reflection leaves time enough: these are worth a look.

    Parameters
    ----------
    reflections : tuple of Reflection
        From `frusta.signal.gate.find_gate`.
    drive_sweep : bool
        False for a struck specimen, which has none.
    rings_on : bool
        Whether the direct sound stands over 5 % of its peak when the first reflection arrives.

    Returns
    -------
    tuple of Fault
    """
    if not drive_sweep:
        return ()
    for r in reflections:
        strong, short = r.level_db > STRONG_DB, r.delay_s - GUARD_S < PISTON_S
        if short or (strong and r.delay_s < NEAR_S):
            quality: Quality = "repeat" if strong and short and rings_on else "look"
            where = (
                f"{r.delay_s * 1e3:.2f} ms after the direct sound, {r.level_db:.0f} dB, a detour of {r.path_m:.2f} m"
            )
            todo = "move or damp what stands within half that detour of cone or microphone, then sweep again"
            return (Fault("reflection", where, todo, quality, r.delay_s),)
    return ()


def fault_of_clock(ppm: float | None, ppm_u: float | None) -> tuple[Fault, ...]:
    """Return the fault of a clock error beyond what crystals do.

    Parameters
    ----------
    ppm, ppm_u : float or None
        Clock error of the recorder on the player's clock and its standard uncertainty, parts per million.

    Returns
    -------
    tuple of Fault
    """
    if ppm is None or abs(ppm) - 2.0 * (ppm_u or 0.0) <= CLOCK_LOOK_PPM:
        return ()
    quality: Quality = "repeat" if abs(ppm) > CLOCK_REPEAT_PPM else "look"
    todo = "set player and recorder to the same sample rate, without conversion; better, use one interface for both"
    return (Fault("clock", f"the whole recording: {ppm:.0f} ppm between player and recorder", todo, quality),)
