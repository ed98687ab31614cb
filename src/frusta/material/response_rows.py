"""What one take's complex response has beside its poles: how it differs from the fit, and what could explain it.

Poles have been used already, and the response holds them, too. So every mode is put where it was recorded before the
two are compared, and is left free to move: what remains tells how loud modes are against each other, and where
dips lie.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.driver import Driver, response
from frusta.cone.poles import Poles
from frusta.cone.response_sensitivity import ResponseSensitivity, response_sensitivity
from frusta.material.assignment import Assigned
from frusta.material.forward import Computed, Unknowns, by_unknown, drivers_of, elastic_in, state_of
from frusta.material.observations import CampaignObserved, ConeObserved, RecordedResponse, SeatingObserved

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LOWEST_HZ = 300.0
"""Below, the suspension rings longer than a gate."""
AN_OCTAVE = 24
"""Points that are kept."""
LEAST_OCTAVES = 2
FREE_FREQUENCY, FREE_LOSS = 3e-3, 0.05
"""How far (ln f, ln η) a mode may move by itself: wide, so that poles are not counted twice."""
FREE_STRAY = 0.3
"""What a recorded mode that is none of the cone's may add, over the response beside it."""
LONGEST_S, STEP_S = 3e-4, 4e-6
"""Delays that are tried before one is fitted."""
_SMALL = 1e-5


@dataclass(frozen=True)
class ResponseRows:
    """Points of one take.

    Parameters
    ----------
    cone, seating, session, rig : str
    frequency_hz : ndarray (points,)
    left : ndarray (points,) of complex
        ln recorded − ln computed: nepers and radians.
    worth : ndarray (points,)
        Independent measurements that a point stands for, at most 1.
    slope : ndarray (points, unknowns) of complex
        ∂ ln computed by the fit's unknowns.
    by_distance : ndarray (points,) of complex
        By the microphone's distance, m, its mere delay and level left in.
    own : ndarray (points, own) of complex
        What is free in this take alone, in units of its prior's standard deviation.
    """

    cone: str
    seating: str
    session: str
    rig: str
    frequency_hz: Floats
    left: Complexes
    worth: Floats
    slope: Complexes
    by_distance: Complexes
    own: Complexes


def response_rows(
    observed: CampaignObserved,
    cone: ConeObserved,
    unknowns: Unknowns,
    computed: list[Computed],
    assigned: list[Assigned],
) -> list[ResponseRows]:
    """Return the points of every seating of a cone that has a response.

    Parameters
    ----------
    observed : CampaignObserved
    cone : ConeObserved
    unknowns : Unknowns
        Of the fit.
    computed, assigned : list
        Of the fit, one a seating.
    """
    profile = state_of(observed, cone, unknowns).profile
    together = list(zip(cone.seatings, drivers_of(observed, cone, unknowns), computed, assigned, strict=True))
    heard = [one for one in together if one[0].response is not None and len(one[3].recorded)]
    if not heard:
        return []
    highest = min(float(s.modes.frequency_hz[pairs.recorded].max()) for s, _, _, pairs in heard)
    found: list[ResponseRows] = []
    kept: _Kept | None = None
    for seating, driver, modes, pairs in heard:
        recorded = seating.response
        if recorded is None:
            continue
        keep = thinned(recorded.frequency_hz, LOWEST_HZ, min(highest, driver.top_hz))
        if len(keep) < LEAST_OCTAVES * AN_OCTAVE:
            continue
        hertz = recorded.frequency_hz[keep]
        elastic = elastic_in(unknowns, cone, seating)
        if kept is None or kept.rig != seating.rig or not np.array_equal(kept.hertz, hertz):
            kept = _Kept(seating.rig, hertz, response_sensitivity(driver, profile, elastic, hertz))
        pressure, own = _as_recorded(driver, modes, pairs, seating, hertz, response(driver, hertz))
        slope = np.zeros((len(hertz), len(unknowns.values)), dtype=np.complex128)
        columns = by_unknown(kept.slopes, cone, seating, unknowns, driver, profile, elastic)
        slope[:, list(columns)] = np.stack(list(columns.values()), axis=-1)
        found.append(
            ResponseRows(
                cone.key,
                seating.key,
                recorded.session,
                seating.rig,
                hertz,
                _aligned(recorded.pressure[keep] / pressure, hertz),
                worth(hertz, recorded),
                slope,
                kept.slopes.of("microphone_distance_m"),
                np.concatenate([own, _level_and_delay(hertz)], axis=-1),
            )
        )
    return found


@dataclass(frozen=True)
class _Kept:
    """Derivatives of a cone's first seating: those of its others differ by parts in a hundred."""

    rig: str
    hertz: Floats
    slopes: ResponseSensitivity


def thinned(frequency_hz: Floats, low_hz: float, high_hz: float) -> NDArray[np.intp]:
    """Return the places of about `AN_OCTAVE` points an octave between two frequencies."""
    inside = np.flatnonzero((frequency_hz >= low_hz) & (frequency_hz <= high_hz))
    if len(inside) == 0:
        return inside
    step = np.floor(AN_OCTAVE * np.log2(frequency_hz[inside]) + 0.5)
    return np.asarray(inside[np.concatenate([[True], np.diff(step) > 0.0])])


def worth(frequency_hz: Floats, recorded: RecordedResponse) -> Floats:
    """Return how many independent measurements each point stands for: a gate of T tells apart 1/T."""
    return np.minimum(1.0, np.gradient(frequency_hz) * recorded.gate_s)


def _as_recorded(
    driver: Driver, modes: Computed, pairs: Assigned, seating: SeatingObserved, hertz: Floats, pressure: Complexes
) -> tuple[Complexes, Complexes]:
    """The computed response with its poles where they were recorded, and what each may still do."""
    frequency, loss = modes.frequency_hz.copy(), modes.loss_factor.copy()
    frequency[pairs.computed] = seating.modes.frequency_hz[pairs.recorded]
    loss[pairs.computed] = seating.modes.loss_factor[pairs.recorded]
    there = _parts(driver, frequency, loss, modes.residue, hertz)
    moved = pressure + np.sum(there - _parts(driver, modes.frequency_hz, modes.loss_factor, modes.residue, hertz), 0)
    heard = (frequency > 0.7 * hertz[0]) & (frequency < 1.3 * hertz[-1])
    by_frequency = (_parts(driver, frequency * (1.0 + _SMALL), loss, modes.residue, hertz) - there) / _SMALL
    by_loss = (_parts(driver, frequency, loss * (1.0 + _SMALL), modes.residue, hertz) - there) / _SMALL
    own = [FREE_FREQUENCY * by_frequency[heard], FREE_LOSS * by_loss[heard], _strays(pairs, seating, hertz, moved)]
    return moved, np.asarray(np.concatenate(own).T / moved[:, None])


def _strays(pairs: Assigned, seating: SeatingObserved, hertz: Floats, pressure: Complexes) -> Complexes:
    """A resonance of any strength and phase at each recorded mode that is none of the cone's."""
    columns = []
    for stray in pairs.strays:
        at, loss = seating.modes.frequency_hz[stray], seating.modes.loss_factor[stray]
        nearest = abs(pressure[int(np.argmin(np.abs(hertz - at)))])
        shape = FREE_STRAY * nearest * 0.5 * loss * at / (hertz - at * (1.0 + 0.5j * loss))
        columns += [shape, 1j * shape]
    return np.array(columns, dtype=np.complex128).reshape(-1, len(hertz))


def _parts(driver: Driver, frequency_hz: Floats, loss: Floats, residue: Complexes, hertz: Floats) -> Complexes:
    """The poles' own parts of the response, (poles, points)."""
    omega = np.asarray(2.0 * np.pi * frequency_hz * np.sqrt(1.0 + 1j * loss), dtype=np.complex128)
    return Poles(omega, residue[:, None], residue, driver.arrival_s, residue).contributions(hertz)


def _level_and_delay(hertz: Floats) -> Complexes:
    """Level (3 nepers) and delay (0.1 ms), one a column."""
    return np.stack([np.full(len(hertz), 3.0 + 0.0j), -2j * np.pi * hertz * 1e-4], axis=-1)


def _aligned(ratio: Complexes, hertz: Floats) -> Complexes:
    """The logarithm of recorded over computed, its bulk delay, polarity and level taken out."""
    turn = ratio / np.abs(ratio)
    weight = np.gradient(hertz)
    trial = np.arange(-LONGEST_S, LONGEST_S, STEP_S)
    arrival = _arrival(turn, hertz, weight)
    sums = np.exp(2j * np.pi * hertz * (trial[:, None] + arrival)) @ (weight * turn)
    best = arrival + float(trial[int(np.argmax(np.abs(sums.real)))])
    turn = turn * np.exp(2j * np.pi * hertz * best)
    sign = math.copysign(1.0, float(np.sum(weight * turn.real)))
    level = np.log(np.abs(ratio))
    return np.asarray(level - np.average(level, weights=weight) + 1j * np.angle(sign * turn))


def _arrival(turn: Complexes, hertz: Floats, weight: Floats) -> float:
    """The delay by the mean turn from one point to the next, which cannot be taken for one more round."""
    steps = turn[1:] * np.conj(turn[:-1])
    short = np.diff(hertz)
    mean = np.exp(2j * np.pi * short[:, None] * np.arange(-5e-3, 5e-3, 2e-5)) * (steps * weight[1:])[:, None]
    return float(np.arange(-5e-3, 5e-3, 2e-5)[int(np.argmax(np.sum(mean, axis=0).real))])
