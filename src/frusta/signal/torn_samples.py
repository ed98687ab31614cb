"""Samples that the recorder wrote without hearing them: one value held, or a block written twice.

Both happen when a buffer is late. They leave no doubt, however small they are: a sound between two noises never stands
still for long, and never repeats itself to the last step of the converter.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from frusta.signal.fault import Fault, SweepPlace, place_in_words

Floats = NDArray[np.float64]

LEAST_STILL = 16
USUAL_RESTS = 10.0
SINE_RESTS = 3.0
"""A slow sine rests on one step at its top; three times as long as that is another matter."""

AROUND_S = 0.06
RISING_S, SOUNDED = 0.05, 0.1
"""The sweep fades in; what is held must have sounded before, a tenth as loud at least."""

LEAST_STEPS = 30.0
"""Steps of the converter that the sound round an event must reach (rms); below, it is the rounding that is heard."""

BLOCKS = (16, 32, 48, 64, 96, 128, 192, 256, 384, 441, 480, 512, 882, 960, 1024, 2048, 4096)
"""Usual lengths of a buffer, samples."""

ANCHORS, LEAST_REPEATED = 16, 16
TODO = "use a larger buffer, stop other programs, then sweep again"


def find_torn(recording: Floats, sample_rate_hz: float, quantum: float, sweep: SweepPlace) -> tuple[Fault, ...]:
    """Return the first place in the sweep where samples were held or written twice.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        As recorded.
    sample_rate_hz : float
        Hz.
    quantum : float
        Step of the converter re full scale (`frusta.signal.clipping.find_quantum`); 0 for floating point.
    sweep : SweepPlace
        Where the sweep stands in the *recording*.

    Returns
    -------
    tuple of Fault
        One dropout at most.
    """
    first = max(0, round((sweep.begin_s + RISING_S) * sample_rate_hz))
    last = min(recording.size, round(sweep.end_s * sample_rate_hz))
    part = recording[first:last]
    if part.size < 4 * LEAST_STILL:
        return ()
    at = _held(part, sample_rate_hz, quantum, first, sweep)
    if at is None:
        at = _repeated(part, sample_rate_hz, quantum)
    if at is None:
        return ()
    time_s = (first + at) / sample_rate_hz
    frequency = sweep.frequency_at(time_s)
    where = f"the sound breaks off {place_in_words(time_s, frequency)}"
    return (Fault("dropout", where, TODO, "repeat", time_s, frequency),)


def _held(part: Floats, sample_rate_hz: float, quantum: float, first: int, sweep: SweepPlace) -> int | None:
    """Index of the first sample from which one value was held for longer than the sound explains."""
    changes = np.concatenate([[-1], np.flatnonzero(part[1:] != part[:-1])])
    rests = np.diff(changes)
    for i in np.flatnonzero(rests >= LEAST_STILL)[:200]:
        begin = int(changes[i]) + 1
        frequency = sweep.frequency_at((first + begin) / sample_rate_hz)
        around = _around(part, begin, sample_rate_hz)
        before = part[max(0, begin - round(AROUND_S * sample_rate_hz)) : begin]
        if (
            before.size
            and before.std() > SOUNDED * around.std()
            and stands_still(around, int(rests[i]), sample_rate_hz, quantum, frequency)
        ):
            return begin
    return None


def stands_still(around: Floats, rest: int, sample_rate_hz: float, quantum: float, frequency_hz: float | None) -> bool:
    """Return whether a stretch rests on one value for longer than its sound explains.

    Parameters
    ----------
    around : ndarray, shape (n,)
        The recording round the rest.
    rest : int
        Its length, samples.
    sample_rate_hz : float
        Hz.
    quantum : float
        Step of the converter; 0 for floating point.
    frequency_hz : float or None
        Swept at that moment; None if not known.
    """
    loud = float(around.std())
    if rest < LEAST_STILL or loud < LEAST_STEPS * quantum or loud == 0.0:
        return False
    usual = np.diff(np.flatnonzero(around[1:] != around[:-1]))
    if usual.size and rest < USUAL_RESTS * float(np.percentile(usual, 90.0)):
        return False
    if frequency_hz is None:
        return True
    # a sine of amplitude a stays within a step q of its top for 2 sqrt(2 q / a) / (2 pi f)
    top_s = math.sqrt(2.0 * quantum / (math.sqrt(2.0) * loud)) / (math.pi * frequency_hz)
    return rest > SINE_RESTS * top_s * sample_rate_hz


def _around(part: Floats, at: int, sample_rate_hz: float) -> Floats:
    reach = round(AROUND_S * sample_rate_hz)
    return part[max(0, at - reach) : at + reach]


def _repeated(part: Floats, sample_rate_hz: float, quantum: float) -> int | None:
    """Index of the first sample of a block that is the one before it, to the last step."""
    for block in BLOCKS:
        if part.size <= 2 * block:
            break
        # every sixteenth sample first: of a block that is written twice, one at least agrees with the one before
        alike = np.flatnonzero(part[block::ANCHORS] == part[:-block:ANCHORS]) * ANCHORS
        for near in alike[:200] if alike.size < part.size // ANCHORS // 8 else ():
            low, high = max(0, near - block), min(near + block, part.size - block)
            run = part[low + block : high + block] == part[low:high]
            length, begin = _longest(run)
            heard = part[low + block + begin : low + block + begin + length]
            if length >= max(LEAST_REPEATED, 0.9 * block) and float(np.ptp(heard)) > LEAST_STEPS * quantum:
                return int(low + block + begin)
    return None


def _longest(run: NDArray[np.bool_]) -> tuple[int, int]:
    """Length and begin of the longest run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], run, [False]]).astype(np.int8)))
    lengths = edges[1::2] - edges[::2]
    if lengths.size == 0:
        return 0, 0
    best = int(np.argmax(lengths))
    return int(lengths[best]), int(edges[::2][best])
