"""Sudden events of a take: lost samples and bursts, told apart by what they leave."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.signal.broken_wave import is_cut
from frusta.signal.clipping import find_quantum
from frusta.signal.fault import Fault, Quality, SweepPlace, place_in_words
from frusta.signal.residue import FAINTEST, Residue
from frusta.signal.torn_samples import LEAST_STEPS, stands_still
from frusta.signal.transfer import Deconvolved

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

NOTICED = 8.0
"""Power of a block over its surroundings from which it is an event. A block of 128 samples of steady noise reaches 2.6
at most in a hundred takes; the margin is for rooms that are not that steady."""

JOINED_S = 0.03
ISOLATED_SHARE = 0.25
"""If more of the sweep than this stands out it is no event but the way the take sounds."""

BREAK_RATIO = 25.0
"""Power before the direct sound over the noise elsewhere. Of 250 bins of noise, exponentially distributed over a mean
of twelve, one exceeds it in some 1e-6 takes."""


HARMFUL_SHARE, HARMFUL_PEAK = 0.25, 1000.0
"""A burst that raises the noise of the whole sweep by 1 dB, or that of its moment by 30 dB in some band, spoils it."""

FOLDED_SHARE = 0.04
FOLDED_ORDERS = (2, 3, 4, 5)


OVER_SWEPT, OVER_HUM_HZ, STANDS_OUT = 3.0, 1000.0, 30.0
"""Above three times the swept frequency there is little of its own; what stands 15 dB out of it is seen surely."""

NEEDLE_S, NEEDLE_BLOCKS = 0.00025, 6
"""A needle, and the one at the other end of a block, each astride three blocks, hold nearly all that stands out."""

SWEPT_SHARE = 0.6
"""Share of an event's energy within half an octave of the swept frequency from which it is the sweep that broke."""


@dataclass(frozen=True)
class Event:
    """A stretch of the recording that stands out: first and last block's times (s), peak and summed excess."""

    begin_s: float
    end_s: float
    peak: float
    peak_s: float
    excess: float


def find_events(rest: Residue, from_s: float, to_s: float) -> tuple[Event, ...]:
    """Return the stretches of the residue that stand out between two times.

    Parameters
    ----------
    rest : Residue
        From `frusta.signal.residue.residue`.
    from_s, to_s : float
        The sounding part, s of the recording.

    Returns
    -------
    tuple of Event
        In time order.
    """
    step_s = rest.block / rest.sample_rate_hz
    first, last = max(0, round(from_s / step_s)), min(rest.ratio.size, round(to_s / step_s))
    ratio = rest.ratio[first:last]
    over = np.flatnonzero(ratio > NOTICED / 2)
    if over.size == 0 or not (ratio > NOTICED).any():
        return ()
    groups = np.split(over, np.flatnonzero(np.diff(over) > round(JOINED_S / step_s)) + 1)
    events = []
    for g in groups:
        part = ratio[g[0] : g[-1] + 1]
        if part.max() > NOTICED:
            peak_s = (first + g[0] + int(np.argmax(part)) + 0.5) * step_s
            excess = float(np.sum(part - 1.0))
            events.append(
                Event((first + g[0]) * step_s, (first + g[-1] + 1) * step_s, float(part.max()), peak_s, excess)
            )
    return tuple(events)


def judge_events(
    recording: Floats,
    rest: Residue,
    deconvolved: Deconvolved,
    sweep: SweepPlace,
    onset: int,
    events: tuple[Event, ...],
) -> tuple[Fault, ...]:
    """Return the faults behind events: dropout (samples lost or inserted, a block replaced) or burst.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        As recorded.
    rest : Residue
        Where the events were found.
    deconvolved : Deconvolved
        The whole periodic response.
    sweep : SweepPlace
        Where the sweep stands in what was played.
    onset : int
        Index of the direct sound in the response.
    events : tuple of Event
        From `find_events`.

    Returns
    -------
    tuple of Fault
        Dropouts first; at most one burst, the strongest.
    """
    lag_s = _lag(deconvolved, onset)
    blocks = max((sweep.end_s - sweep.begin_s) * rest.sample_rate_hz / rest.block, 1.0)
    standing_out = sum(e.end_s - e.begin_s for e in events) / max(sweep.end_s - sweep.begin_s, 1e-9)
    if standing_out > ISOLATED_SHARE:
        return (
            Fault(
                "noisy",
                f"from {events[0].begin_s:.2f} to {events[-1].end_s:.2f} s, again and again",
                "something rattles or the room is not quiet: listen to the take, fasten what is loose, sweep again",
                "look",
                events[0].begin_s,
            ),
        )
    quantum = find_quantum(recording)
    events = tuple(
        e for e in events if _around(recording, deconvolved.sample_rate_hz, e).std() >= LEAST_STEPS * quantum
    )
    breaks = find_breaks(deconvolved, onset, sweep)
    dropouts, bursts = [], []
    for event in sorted(events, key=lambda e: -e.peak)[:6]:
        frequency = sweep.frequency_at(event.peak_s - lag_s)
        if frequency is not None and _is_folded(rest, event, frequency, deconvolved.sample_rate_hz):
            continue
        place = place_in_words(event.peak_s, frequency)
        todo = "use a larger buffer, stop other programs, then sweep again"
        form = "" if frequency is None else _form(recording, deconvolved.sample_rate_hz, event, frequency, sweep.rate_s)
        if (
            form == "needle"
            or _rests(recording, deconvolved.sample_rate_hz, event, quantum, frequency)
            or (form == "" and frequency is not None and _is_the_sweep(rest, event, frequency, breaks))
        ):
            folded = frequency is not None and _folded(frequency, deconvolved.sample_rate_hz)
            quality: Quality = "look" if folded else "repeat"
            where = f"the sound breaks off {place}" + (", or its distortion is folded there" if folded else "")
            dropouts.append(Fault("dropout", where, todo, quality, event.peak_s, frequency))
        else:
            bursts.append((event, frequency))
    faults = sorted(dropouts, key=lambda d: d.time_s or 0.0)
    if bursts:
        event, frequency = max(bursts, key=lambda b: b[0].excess)
        total = sum(b[0].excess for b in bursts)
        harmful = total > HARMFUL_SHARE * blocks or _loudest_band(rest, event) > HARMFUL_PEAK
        where = (
            f"{place_in_words(event.peak_s, frequency)}, {max(1.0, 1e3 * (event.end_s - event.begin_s)):.0f} ms long"
        )
        todo = "a door, a voice or a click fell into the sweep: wait for quiet and sweep again"
        if not harmful:
            todo = "a short noise fell into the sweep, too weak to matter much: sweep again if in doubt"
        faults.append(Fault("burst", where, todo, "repeat" if harmful else "look", event.peak_s, frequency))
    return tuple(faults)


def _lag(deconvolved: Deconvolved, onset: int) -> float:
    """Lag of the direct sound, s; negative where its index wrapped."""
    n = deconvolved.impulse.size
    return ((onset + n // 2) % n - n // 2) / deconvolved.sample_rate_hz


def _folded(frequency_hz: float, sample_rate_hz: float) -> bool:
    """Whether a strong harmonic (2 or 3) folded at half the sample rate crosses the sweep here: n·f = rate − f."""
    return any(abs(frequency_hz * (n + 1) / sample_rate_hz - 1.0) < FOLDED_SHARE for n in (2, 3))


def _loudest_band(rest: Residue, event: Event) -> float:
    """Power of the event over that of other moments, in the half octave where that is most.

    A strong burst is most of what the residue was whitened by; other moments still tell the noise.
    """
    size = min(max(round((event.end_s - event.begin_s) * rest.sample_rate_hz), 256), rest.signal.size // 4)
    first = max(0, round(0.5 * (event.begin_s + event.end_s) * rest.sample_rate_hz) - size // 2)
    starts = np.append(
        np.linspace(0, rest.signal.size - size, 16).astype(np.int64), min(first, rest.signal.size - size)
    )
    parts = rest.signal[starts[:, None] + np.arange(size)] * np.hanning(size)
    spectra = fft.rfft(parts, axis=-1)
    power = spectra.real**2 + spectra.imag**2
    f = np.arange(power.shape[1]) * (rest.sample_rate_hz / size)
    edges = np.searchsorted(f, np.geomspace(60.0, 0.4 * rest.sample_rate_hz, 17))
    bands = np.array([power[:, a:b].mean(axis=1) for a, b in pairwise(edges) if b > a])
    noise = np.median(bands[:, :-1], axis=1)
    return float(np.max(bands[:, -1] / np.maximum(noise, 1e-30 + 1e-6 * bands[:, :-1].max(axis=1)), initial=0.0))


def _around(recording: Floats, sample_rate_hz: float, event: Event) -> Floats:
    """Return the recording from 60 ms before an event to 60 ms after."""
    return recording[_start(event, sample_rate_hz) : round((event.end_s + 2.0 * JOINED_S) * sample_rate_hz)]


def _start(event: Event, sample_rate_hz: float) -> int:
    """Return the index 60 ms before an event."""
    return max(0, round((event.begin_s - 2.0 * JOINED_S) * sample_rate_hz))


def _rests(recording: Floats, sample_rate_hz: float, event: Event, quantum: float, frequency_hz: float | None) -> bool:
    """Whether the recorder wrote one and the same value for a while, in the midst of sound."""
    part = _around(recording, sample_rate_hz, event)
    changes = np.concatenate([[-1], np.flatnonzero(np.diff(part)), [part.size - 1]])  # from before, or until after
    return stands_still(part, int(np.diff(changes).max()), sample_rate_hz, quantum, frequency_hz)


def _form(
    recording: Floats, sample_rate_hz: float, event: Event, frequency_hz: float, rate_s: float | None
) -> Literal["needle", "long", ""]:
    """Whether what stands out above the frequency being swept is a jump of the wave form, or lasts.

    Any sound rings for a while, if only in the room; a jump from one sample to the next does not. Two needles may
    stand at the ends of a block. A single one must also be a cut of the swept wave: a click is short too, but the wave
    goes on through it. Empty where the swept frequency is too high, or nothing stands out above it.
    """
    low_hz = OVER_SWEPT * frequency_hz
    if low_hz > 0.3 * sample_rate_hz:
        return ""
    part = _around(recording, sample_rate_hz, event)
    spectrum = fft.rfft(part * np.hanning(part.size))
    spectrum[: math.ceil(max(low_hz, OVER_HUM_HZ) * part.size / sample_rate_hz)] = 0.0
    size = max(4, round(NEEDLE_S * sample_rate_hz))
    above = fft.irfft(spectrum, part.size)
    power = (above[: part.size // size * size].reshape(-1, size) ** 2).sum(axis=1)
    usual = float(np.median(power))
    over = power - usual
    strongest = np.sort(over)[::-1]
    if strongest[0] < STANDS_OUT * usual:
        return ""
    if strongest[:NEEDLE_BLOCKS].sum() <= 0.9 * over[over > 8.0 * usual].sum():
        return "long"
    places = np.flatnonzero(over > 0.1 * strongest[0])
    if rate_s is None or np.any(np.diff(places) > NEEDLE_BLOCKS // 2):
        return "needle"
    jump = _start(event, sample_rate_hz) + int(np.argmax(np.abs(above)))
    return "needle" if is_cut(recording, sample_rate_hz, jump, frequency_hz, rate_s) else "long"


def _is_the_sweep(rest: Residue, event: Event, frequency_hz: float, breaks: tuple[Fault, ...]) -> bool:
    """Whether it is the sweep itself that broke: by the event's sound, or in the bass by the break of the spectrum."""
    if frequency_hz >= 1.4 * float(rest.noise_hz[0]):
        return _follows_sweep(rest, event, frequency_hz)
    return any(abs((b.frequency_hz or 0.0) / frequency_hz - 1.0) < 0.3 for b in breaks)


def _is_folded(rest: Residue, event: Event, frequency_hz: float, sample_rate_hz: float) -> bool:
    """Whether the event is a harmonic folded at half the sample rate, as calculation without care leaves it."""
    tracks = [abs(n * frequency_hz - sample_rate_hz) for n in FOLDED_ORDERS if n * frequency_hz > 0.5 * sample_rate_hz]
    # near the swept frequency it may as well be the sweep that broke
    apart = [t for t in tracks if t > rest.noise_hz[0] and abs(math.log2(t / frequency_hz)) > 1.0]
    return any(_follows_sweep(rest, event, t) for t in apart)


def _follows_sweep(rest: Residue, event: Event, frequency_hz: float) -> bool:
    """Whether the event's sound, unwhitened, is confined to one frequency: if it is the swept one, to the sweep."""
    rate = rest.sample_rate_hz
    middle = 0.5 * (event.begin_s + event.end_s)
    half = max(0.6 * (event.end_s - event.begin_s), 5.0 / frequency_hz)
    part = rest.signal[max(0, round((middle - half) * rate)) : round((middle + half) * rate)]
    if part.size < 32:
        return False
    size = fft.next_fast_len(max(2 * part.size, 4096), real=True)
    spectrum = fft.rfft(part * np.hanning(part.size), size)
    power = spectrum.real**2 + spectrum.imag**2
    f = np.arange(power.size) * (rate / size)
    power *= np.exp(2.0 * np.interp(np.log(f + 1e-9), np.log(rest.noise_hz), np.log(rest.noise)))
    near = (f > frequency_hz / 1.4) & (f < 1.4 * frequency_hz)
    return bool(power[near].sum() > SWEPT_SHARE * power.sum())


def find_breaks(deconvolved: Deconvolved, onset: int, sweep: SweepPlace) -> tuple[Fault, ...]:
    """Return dropouts at low frequencies, from what precedes the direct sound.

    Where the sweep breaks off while a low frequency is swept, little is left in any one moment; but the spectrum has a
    break there, and the response a tail of that frequency on *both* sides. Before the direct sound nothing else is.

    Parameters
    ----------
    deconvolved : Deconvolved
        The whole periodic response.
    onset : int
        Index of the direct sound.
    sweep : SweepPlace
        Where the sweep stands; without a rate nothing is sought.

    Returns
    -------
    tuple of Fault
        One at most.
    """
    if sweep.rate_s is None:
        return ()
    rate, n = deconvolved.sample_rate_hz, deconvolved.impulse.size
    length_s = min(0.25, 0.5 * sweep.rate_s * math.log(2.0))
    size = round(length_s * rate)
    highest_lag = sweep.rate_s * math.log(40.0)
    quiet_from, quiet_to = onset + round(0.5 * rate), onset + n - round((highest_lag + length_s) * rate)
    if length_s < 0.1 or quiet_to - quiet_from < 4 * size:
        return ()
    starts = np.append(np.linspace(quiet_from, quiet_to, 12).astype(np.int64), onset - round(0.03 * rate) - size)
    parts = np.take(deconvolved.impulse, starts[:, None] + np.arange(size), mode="wrap") * np.hanning(size)
    length = fft.next_fast_len(2 * size, real=True)
    step_hz = rate / length
    f = np.arange(length // 2 + 1) * step_hz
    # nearer to the taper's end its own ringing before the direct sound would pass for a break
    use = slice(int(2.0 * deconvolved.band.full_low_hz / step_hz), int(1000.0 / step_hz))
    spectra = fft.rfft(parts, length, axis=-1)[:, use]
    power = spectra.real**2 + spectra.imag**2
    direct = np.take(deconvolved.impulse, onset + np.arange(-(size // 2), size - size // 2), mode="wrap")
    heard = np.abs(fft.rfft(direct * np.hanning(size), length)[use]) ** 2
    noise = np.maximum(power[:-1].mean(axis=0), np.maximum(0.3 * np.median(power[:-1]), FAINTEST * heard))
    ratio = power[-1] / noise
    at = int(np.argmax(ratio))
    wide = np.count_nonzero(ratio > ratio[at] / 10.0) * step_hz
    if ratio[at] < BREAK_RATIO or wide > 8.0 / length_s:
        return ()
    frequency = float(f[use][at])
    time_s = sweep.time_of(frequency) + _lag(deconvolved, onset)
    todo = "use a larger buffer, stop other programs, then sweep again"
    return (
        Fault(
            "dropout", f"the sound breaks off {place_in_words(time_s, frequency)}", todo, "repeat", time_s, frequency
        ),
    )
