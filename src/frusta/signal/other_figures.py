"""The figures of a take that are not of level: clock, decay, break-up, distortion."""

from __future__ import annotations

import math

from frusta.signal.breakup import Breakup
from frusta.signal.clock import ClockError
from frusta.signal.decay import Envelope, bandlimit_decay_s, decay_time
from frusta.signal.gate import Gate
from frusta.signal.harmonic_peaks import distortion_peaks
from frusta.signal.harmonics import Harmonics
from frusta.signal.sheet import Sheet
from frusta.signal.source import Source
from frusta.signal.take import TakeSignals


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
    for key, share in (("decay_5_percent_ms", 0.05), ("decay_2_percent_ms", 0.02)):
        found = decay_time(shape, share, gate.length_s)
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
    # the prominence follows strength over rest: to first order the relative error of the loss factor
    sheet.put("breakup_prominence_db", mode.prominence_db, 8.686 * mode.loss_factor_u / mode.loss_factor)
    return mode.frequency_hz


def put_distortion(sheet: Sheet, harmonics: Harmonics, breakup_hz: float | None) -> None:
    """Write the peaks of distortion; the piston band ends at half the break-up."""
    for stem, peak in distortion_peaks(harmonics, breakup_hz).named().items():
        sheet.put(f"{stem}_percent", peak.percent, peak.percent_u, peak.reason)
        # smoothed over a sixth of an octave: the place is known to a twelfth, uniformly
        u = None if peak.frequency_hz is None else peak.frequency_hz * math.log(2.0) / 12.0 / math.sqrt(3.0)
        sheet.put(f"{stem}_hz", peak.frequency_hz, u, peak.reason)
