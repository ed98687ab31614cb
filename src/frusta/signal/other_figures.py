"""The figures of a take that are not of level: clock, decay, break-up, distortion."""

from __future__ import annotations

import math

import numpy as np

from frusta.signal.breakup import Breakup
from frusta.signal.clock import ClockError
from frusta.signal.decay import Echo, Envelope, bandlimit_decay_s, decay_time, perfect_envelope
from frusta.signal.gate import Gate
from frusta.signal.harmonic_peaks import distortion_peaks
from frusta.signal.harmonics import Harmonics
from frusta.signal.sheet import Sheet
from frusta.signal.source import Source
from frusta.signal.spectra import Spectra
from frusta.signal.take import TakeSignals

ORIGIN_S = 0.15e-3
"""How far the moment at which a mode begins is uncertain: sound takes as long across a cone of 50 mm."""


def put_clock(sheet: Sheet, clock: ClockError | None, source: Source, signals: TakeSignals) -> None:
    """Write the clock error, or why it is not shown."""
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


def put_decays(sheet: Sheet, shape: Envelope, gate: Gate, source: Source, rate_hz: float) -> None:
    """Write the three decay times, ms."""
    perfect = perfect_envelope(source.band.stop_hz, source.band.full_low_hz, rate_hz)
    echo = None
    if gate.reflection_s is not None and gate.reflection_db is not None:
        echo = Echo(gate.reflection_s, 10.0 ** (gate.reflection_db / 20.0), perfect)
    for key, share in (("decay_5_percent_ms", 0.05), ("decay_2_percent_ms", 0.02)):
        found = decay_time(shape, share, gate.length_s, echo)
        time_ms = None if found.time_s is None else 1e3 * found.time_s
        sheet.put(key, time_ms, None if found.time_u is None else 1e3 * found.time_u, found.reason)
    limit_s = bandlimit_decay_s(source.band.stop_hz, source.band.full_low_hz, rate_hz)
    sheet.put("decay_bandlimit_ms", 1e3 * limit_s, 1e3 / rate_hz / math.sqrt(12.0))


def put_breakup(sheet: Sheet, found: Breakup) -> float | None:
    """Write the break-up and return its frequency, Hz; None where there is none."""
    keys = ("breakup_hz", "breakup_loss_factor", "breakup_prominence_db")
    if found.mode is None:
        for key in keys:
            sheet.put(key, None, None, found.reason)
        return None
    mode = found.mode
    sheet.put("breakup_hz", mode.frequency_hz, mode.frequency_hz_u)
    sheet.put("breakup_loss_factor", mode.loss_factor, mode.loss_factor_u)
    # strength is as uncertain as the loss factor, and grows by the decay over whatever its origin is uncertain; the
    # rest, being the total less the mode's own, carries the same error, the more so the smaller it is
    origin = math.pi * mode.frequency_hz * mode.loss_factor * ORIGIN_S
    share = math.hypot(mode.loss_factor_u / mode.loss_factor, origin)
    sheet.put("breakup_prominence_db", mode.prominence_db, 8.686 * share * (1.0 + 10.0 ** (mode.prominence_db / 20.0)))
    return mode.frequency_hz


def put_distortion(sheet: Sheet, harmonics: Harmonics, breakup_hz: float | None, spectra: Spectra) -> None:
    """Write the peaks of distortion; the piston band ends at half the break-up."""
    gates = np.sqrt(spectra.shorter / np.maximum(spectra.power, 1e-300))
    for stem, peak in distortion_peaks(harmonics, breakup_hz, gates).named().items():
        sheet.put(f"{stem}_percent", peak.percent, peak.percent_u, peak.reason)
        sheet.put(f"{stem}_hz", peak.frequency_hz, peak.frequency_hz_u, peak.reason)
