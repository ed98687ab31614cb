"""Is the whole sweep there, the right one, unbroken and where it should be?"""

from __future__ import annotations

import math
from bisect import insort
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.signal.band_arrivals import BandArrivals
from frusta.signal.fault import Fault, SweepPlace, place_in_words

Floats = NDArray[np.float64]

HEARD_SHARE = 0.25
STEADY_DB = 6.0
"""Noise in 50 ms blocks varies by less (5th to 95th percentile), a sweep through anything, speech or music by more."""

QUIET_DBFS = -50.0
FIRM_HZ = 150.0
"""Below, a band's cell is too long to time an arrival within 30 ms."""

SPREAD_S = 0.02
CLOCK_SHARE = 0.01
"""Crystals differ by 200 ppm at most, sample-rate conversion by 0.1 %; from 1 % on it is another sweep."""

DRIFT_SHARE = 0.002
"""Drift that band arrivals show surely: a cone's own group delay changes by less than 1 ms an e-fold above 400 Hz."""

MISSING_S = 0.05

JUMP_S = 0.002
"""Bands of one take arrive within 0.6 ms of one another, whatever the cone; a jump must be three times that."""

ROOM_HZ = 300.0
"""Below, the strongest arrival may be the room's."""

EARLIEST_S, LATEST_S = -0.02, 0.6
"""Latency of a sound card lies between: up to half a second; a sweep that comes earlier was started by hand."""


@dataclass(frozen=True)
class WholeSweep:
    """What was found: faults, and the lag of the sweep (s; None where it is not there or not the right one)."""

    faults: tuple[Fault, ...]
    lag_s: float | None


def check_whole_sweep(
    recording: Floats, sample_rate_hz: float, arrivals: BandArrivals, sweep: SweepPlace
) -> WholeSweep:
    """Return the faults of the sweep as a whole: silent, wrong-sweep, dropout (long), clock, truncated, misaligned.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        One channel, full scale 1.0.
    sample_rate_hz : float
        Hz.
    arrivals : BandArrivals
        From `frusta.signal.band_arrivals.band_arrivals`.
    sweep : SweepPlace
        Where the sweep stands in what was played.

    Returns
    -------
    WholeSweep
    """
    heard = arrivals.heard
    if np.count_nonzero(heard) < max(2.0, HEARD_SHARE * heard.size):
        return WholeSweep((_absent(recording, sample_rate_hz),), None)
    firm = heard & (arrivals.frequency_hz >= FIRM_HZ)
    if np.count_nonzero(firm) < 4:
        firm = heard
    lag = arrivals.lag_s[firm]
    middle = float(lag[np.argmax((np.abs(np.subtract.outer(lag, lag)) < SPREAD_S).sum(axis=1))])
    firm &= _inside(arrivals, firm, middle, _last_change(recording) / sample_rate_hz, sweep)
    x, lag = np.log(arrivals.frequency_hz[firm]), arrivals.lag_s[firm]
    limit = max(SPREAD_S, 3.0 * float(np.median(arrivals.cell_s[firm])))
    stray = np.abs(lag - middle) > limit
    if np.count_nonzero(stray) >= 2 and not _hidden(x, lag, stray, limit, sweep):
        steady = _steady_and_quiet(recording, sample_rate_hz)
        return WholeSweep((steady,), None) if steady else _moving(x, lag, arrivals, firm, sweep, limit)
    lag_s = float(np.median(lag[~stray][np.count_nonzero(~stray) // 2 :]))
    ends = _ends(recording, sample_rate_hz, lag_s, arrivals, sweep)
    if not any(f.quality == "repeat" for f in ends):
        ends += _drift(x[~stray], lag[~stray], arrivals.cell_s[firm][~stray], sweep)
    if not ends:
        ends = _jump(x[~stray], lag[~stray], sweep)
    return WholeSweep(ends, lag_s)


def _hidden(x: Floats, lag: Floats, stray: NDArray[np.bool_], limit: float, sweep: SweepPlace) -> bool:
    """Whether the bands that stray are those that a noise hid, not those of a jump or of another sweep."""
    share = np.count_nonzero(stray) / stray.size
    if share <= 0.75 and sweep.rate_s is not None:
        # a burst is heard in all bands at one moment: lag and time of the sweep add up to the same
        swept_s = sweep.rate_s * x[stray]
        moment = lag[stray] + swept_s
        near = np.abs(moment - np.median(moment)) < min(0.25, 0.25 * float(np.ptp(swept_s)))
        if np.mean(near) >= 0.7:
            return True
    # noise strews; in a jump or another sweep neighbours agree
    return bool(share <= 0.4 and np.median(np.abs(np.diff(lag[stray]))) > 10.0 * limit)


def _jump(x: Floats, lag: Floats, sweep: SweepPlace) -> tuple[Fault, ...]:
    """A jump of a few milliseconds: samples lost at a moment when that left hardly a break."""
    if lag.size < 8 or sweep.rate_s is None:
        return ()
    k, misfit = best_step(lag)
    jump_s = float(np.median(lag[k:]) - np.median(lag[:k]))
    slope, start = np.polyfit(x, lag, 1)
    line_misfit = float(np.mean(np.abs(lag - slope * x - start)))
    if abs(jump_s) < JUMP_S or misfit > 0.2 * abs(jump_s) or line_misfit < 2.0 * misfit:
        return ()
    frequency = math.exp(0.5 * float(x[k - 1] + x[k]))
    time_s = sweep.time_of(frequency) + float(np.median(lag[k:]))
    word = "lost" if jump_s < 0 else "inserted"
    where = f"about {abs(jump_s) * 1e3:.0f} ms were {word} {place_in_words(time_s, frequency)}"
    if frequency < ROOM_HZ:
        todo = "samples were lost, or the room is louder than the cone in the bass: sweep again if in doubt"
        return (Fault("dropout", where, todo, "look", time_s, frequency),)
    todo = "use a larger buffer, stop other programs, then sweep again"
    return (Fault("dropout", where, todo, "repeat", time_s, frequency),)


def _drift(x: Floats, lag: Floats, cell_s: Floats, sweep: SweepPlace) -> tuple[Fault, ...]:
    """A delay that grows along the sweep by more than any crystal does."""
    fine = cell_s < 0.006
    if sweep.rate_s is None or np.count_nonzero(fine) < 6:
        return ()
    slope, start = (float(v) for v in np.polyfit(x[fine], lag[fine], 1))
    misfit = float(np.mean(np.abs(lag[fine] - slope * x[fine] - start)))
    if abs(slope) < DRIFT_SHARE * sweep.rate_s or misfit > 0.7 * best_step(lag[fine])[1]:
        return ()
    return (_clock(slope / sweep.rate_s),)


def best_step(lag: Floats) -> tuple[int, float]:
    """Return where a single jump would fit best, and the mean misfit that it leaves.

    Parameters
    ----------
    lag : ndarray, shape (n,)
        Any unit.

    Returns
    -------
    (int, float)
        Index after the jump; misfit in the unit of the lag, infinite for fewer than four values.
    """
    values = [float(v) for v in lag]
    before, after = _strays(values), _strays(values[::-1])
    misfits = [(before[k] + after[lag.size - k]) / lag.size for k in range(2, lag.size - 1)]
    if not misfits:
        return 0, math.inf
    best = int(np.argmin(misfits))
    return best + 2, misfits[best]


def _strays(values: list[float]) -> list[float]:
    """Summed distance from their own median of the first 0, 1, 2 ... values."""
    ordered: list[float] = []
    sums = [0.0]
    for value in values:
        insort(ordered, value)
        half = len(ordered) // 2
        sums.append(sum(ordered[len(ordered) - half :]) - sum(ordered[:half]))
    return sums


def _clock(share: float) -> Fault:
    where = f"the whole recording: player and recorder run {abs(share) * 100:.2f} % apart"
    todo = "set player and recorder to the same sample rate, without conversion, then sweep again"
    return Fault("clock", where, todo, "repeat")


def _last_change(recording: Floats) -> int:
    changes = np.flatnonzero(recording[-1] != recording)
    return int(changes[-1]) + 1 if changes.size else 0


def _inside(
    arrivals: BandArrivals, firm: NDArray[np.bool_], middle: float, length_s: float, sweep: SweepPlace
) -> NDArray[np.bool_]:
    """Bands that were swept while the recording ran, going by the commonest arrival."""
    first = sweep.frequency_at(-middle) or 0.0
    last = sweep.frequency_at(length_s - middle) or math.inf
    inside = (arrivals.frequency_hz > first) & (arrivals.frequency_hz < last)
    return inside if np.count_nonzero(inside & firm) >= 3 else np.ones_like(inside)


def _steady_and_quiet(recording: Floats, sample_rate_hz: float) -> Fault | None:
    """Return the fault of a recording that holds nothing but quiet, steady noise."""
    block = max(2, round(0.05 * sample_rate_hz))
    rough = np.diff(recording)  # hum and rumble do not count
    count = max(1, rough.size // block)
    power = (rough[: count * block].reshape(count, -1) ** 2).mean(axis=1)
    low, high = np.percentile(power, [5.0, 95.0])
    level_db = 10.0 * math.log10(max(float(np.mean(power)), 1e-20))
    if high > 0.0 and not (level_db < QUIET_DBFS and high < 10.0 ** (STEADY_DB / 10.0) * low):
        return None
    where = f"the whole recording, {level_db:.0f} dBFS" if high > 0.0 else "the whole recording, all zero"
    todo = "check that amplifier and microphone are on and their cables plugged in, then sweep again"
    return Fault("silent", where, todo, "repeat")


def _absent(recording: Floats, sample_rate_hz: float) -> Fault:
    todo = (
        "the recording does not hold this sweep: play the sweep that the table names, or name the one that was played"
    )
    wrong = Fault("wrong-sweep", "the whole recording", todo, "repeat")
    return _steady_and_quiet(recording, sample_rate_hz) or wrong


def _moving(
    x: Floats, lag: Floats, arrivals: BandArrivals, firm: NDArray[np.bool_], sweep: SweepPlace, limit: float
) -> WholeSweep:
    """Arrivals that differ from band to band: a jump, a drift, or another sweep."""
    slopes = np.subtract.outer(lag, lag)[np.triu_indices(lag.size, 1)]
    slope = float(np.median(slopes / np.subtract.outer(x, x)[np.triu_indices(lag.size, 1)]))
    line = lag - slope * x
    line_misfit = float(np.mean(np.abs(line - np.median(line))))
    k, misfit = best_step(lag)
    if misfit < 0.4 * line_misfit and misfit < limit / 2:
        jump_s = float(np.median(lag[k:]) - np.median(lag[:k]))
        f = arrivals.frequency_hz[firm]
        frequency = math.sqrt(float(f[k - 1] * f[k]))
        time_s = sweep.time_of(frequency) + float(np.median(lag[k:]))
        word = "lost" if jump_s < 0 else "inserted"
        place = place_in_words(time_s, frequency if sweep.rate_s is not None else None)
        todo = "use a larger buffer, stop other programs, then sweep again"
        where = f"about {abs(jump_s) * 1e3:.0f} ms were {word} {place}"
        lag_s = float(np.median(lag[k:]))
        return WholeSweep((Fault("dropout", where, todo, "repeat", time_s, frequency),), lag_s)
    rate = sweep.rate_s
    if rate is not None and line_misfit < limit / 2 and abs(slope) < CLOCK_SHARE * rate:
        return WholeSweep((_clock(slope / rate),), None)
    where = "the whole recording: bands arrive up to " + f"{float(lag.max() - lag.min()):.2f} s apart"
    todo = "another sweep was played than the table names: name the one that was played, or play this one"
    return WholeSweep((Fault("wrong-sweep", where, todo, "repeat"),), None)


def _ends(
    recording: Floats, sample_rate_hz: float, lag_s: float, arrivals: BandArrivals, sweep: SweepPlace
) -> tuple[Fault, ...]:
    begin_s, end_s = sweep.begin_s + lag_s, sweep.end_s + lag_s
    last_s = _last_change(recording) / sample_rate_hz
    length_s = recording.size / sample_rate_hz
    missing_s = end_s - length_s
    swept_last = sweep.frequency_at(min(max(last_s - lag_s, sweep.begin_s), sweep.end_s))
    above = arrivals.frequency_hz > (swept_last or math.inf)
    if missing_s <= MISSING_S < end_s - last_s and np.count_nonzero(above) >= 1:
        missing_s = end_s - last_s  # filled up with one value after the recorder had stopped
    if missing_s > MISSING_S:
        at_s = length_s if end_s > length_s + MISSING_S else last_s
        frequency = sweep.frequency_at(at_s - lag_s)
        where = f"the recording ends {place_in_words(at_s, frequency)[3:]}; {missing_s:.2f} s of the sweep are missing"
        todo = "record on until a second after the sweep has ended"
        return (Fault("truncated", where, todo, "repeat", at_s, frequency),)
    if begin_s < -MISSING_S:
        frequency = sweep.frequency_at(-lag_s)
        where = f"at 0.000 s; the first {-begin_s:.2f} s of the sweep are missing"
        todo = "start the recording before the sweep"
        return (Fault("truncated", where, todo, "repeat", 0.0, frequency),)
    faults = []
    if missing_s > -0.02:
        where = f"at {length_s:.3f} s; the recording ends with the sweep"
        todo = "record on until a second after the sweep has ended, so that the sound can fall silent"
        faults.append(Fault("truncated", where, todo, "look", length_s))
    if not EARLIEST_S <= lag_s <= LATEST_S:
        where = (
            f"at {max(begin_s, 0.0):.3f} s; the sweep begins {abs(lag_s):.2f} s {'later' if lag_s > 0 else 'earlier'}"
        )
        todo = "the sweep is whole and is used; the delay is not to be believed: start player and recorder together"
        faults.append(Fault("misaligned", where + " than in what was played", todo, "look", max(begin_s, 0.0)))
    return tuple(faults)
