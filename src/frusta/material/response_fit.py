"""The linear second stage: complex responses of all takes, given what poles and masses already told.

Recorded over computed, ln H, is a gain that all takes of a session share and that is smooth in ln f, the microphone's
distance, what the unknowns of the pole fit still may do, what is free in each take (level, delay, each pole), noise,
and what the model lacks. Noise is what differs between seatings of a cone, independent beyond one over the gate. What
the model lacks is alike in all takes of a drawing and over a sixth of an octave, so that more points or takes tell no
more of it. It is not learned from what is left: a large rest would then look like large error and not be noticed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from frusta.material.response_rows import AN_OCTAVE, LOWEST_HZ, ResponseRows
from frusta.material.scatter import heavy_tail_weight

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

KNOTS_AN_OCTAVE = 1.0
GAIN_SD = 0.2
"""Of each coefficient of a rig's gain: 1.7 dB, 0.2 rad."""
DISTANCE_SD_M = 10e-3
FREEDOM = 4.0
LEAST_NOISE, FIRST_NOISE, ROUNDS = 0.003, 0.03, 4
MODEL_ERROR, MODEL_REACH = 0.012, 6.0
"""What the model lacks, nepers (0.1 dB), over a sixth of an octave: the same in all takes of one drawing."""
HIGHEST_HZ = 24e3


@dataclass(frozen=True)
class ResponseFit:
    """A fit of responses.

    Parameters
    ----------
    moved : ndarray (unknowns,)
        From where the pole fit stands.
    covariance : ndarray (unknowns, unknowns)
        With what the responses tell.
    noise : dict of str to float
        By seating: the size of what does not repeat, nepers.
    left : dict of str to ndarray (points,) of complex
        By seating: what is left.
    distance_m, distance_u_m : dict of str to float
        By rig: recorded less table's.
    halves : tuple of two Half
        Cones of odd and of even place by themselves, with the same weights.
    """

    moved: Floats
    covariance: Floats
    noise: dict[str, float]
    left: dict[str, Complexes]
    distance_m: dict[str, float]
    distance_u_m: dict[str, float]
    halves: tuple[Half, Half]


@dataclass(frozen=True)
class Half:
    """What a part of the cones says, as `ResponseFit`."""

    moved: Floats
    covariance: Floats


def fit_responses(rows: Sequence[ResponseRows], covariance: Floats, profile_of: dict[str, str]) -> ResponseFit:
    """Return the fit of responses round a pole fit.

    Parameters
    ----------
    rows : sequence of ResponseRows
        Not empty.
    covariance : ndarray (unknowns, unknowns)
        Posterior of the pole fit, which is the prior here.
    profile_of : dict of str to str
        By cone.
    """
    takes = _takes(rows)
    size = takes[0].design.shape[1]
    prior = np.zeros((size, size))
    unknowns = len(covariance)
    prior[:unknowns, :unknowns] = np.linalg.inv(covariance)
    prior[range(unknowns, size), range(unknowns, size)] = 1.0
    noise = np.full(len(rows), FIRST_NOISE)
    tails = [np.ones(len(row.left)) for row in rows]
    drawn = [profile_of[row.cone] for row in rows]
    lacking = [MODEL_ERROR**2 * AN_OCTAVE / MODEL_REACH * drawn.count(key) for key in drawn]
    left: list[Complexes] = []
    told: list[tuple[Floats, Floats]] = []
    step, found = np.zeros(size), prior
    for _ in range(ROUNDS):
        weight = [t / (e**2 / row.worth + m) for row, t, e, m in zip(rows, tails, noise, lacking, strict=True)]
        told = [take.eliminated(w) for take, w in zip(takes, weight, strict=True)]
        step, found = _solved(told, prior)
        left = [take.left_after(step, w) for take, w in zip(takes, weight, strict=True)]
        noise = _noise(rows, left)
        scale = 2.0 * (noise**2 + MODEL_ERROR**2)
        tails = [heavy_tail_weight(np.abs(one) ** 2 / size, FREEDOM) for one, size in zip(left, scale, strict=True)]
    cones = list(dict.fromkeys(row.cone for row in rows))
    halves = []
    for odd in (0, 1):
        there, known = _solved(
            [t for t, row in zip(told, rows, strict=True) if cones.index(row.cone) % 2 == odd], prior
        )
        halves.append(Half(there[:unknowns], known[:unknowns, :unknowns]))
    rigs = list(dict.fromkeys(row.rig for row in rows))
    return ResponseFit(
        step[:unknowns],
        found[:unknowns, :unknowns],
        {row.seating: float(e) for row, e in zip(rows, noise, strict=True)},
        {row.seating: one for row, one in zip(rows, left, strict=True)},
        {rig: float(DISTANCE_SD_M * step[unknowns + i]) for i, rig in enumerate(rigs)},
        {rig: float(DISTANCE_SD_M * np.sqrt(found[unknowns + i, unknowns + i])) for i, rig in enumerate(rigs)},
        (halves[0], halves[1]),
    )


@dataclass(frozen=True)
class _Take:
    """Rows of one take, real parts before imaginary ones."""

    left: Floats
    design: Floats
    own: Floats

    def eliminated(self, weight: Floats) -> tuple[Floats, Floats]:
        """Normal equations of the shared unknowns, the take's own ones taken out."""
        twice = np.concatenate([weight, weight])
        weighed = twice[:, None] * self.own
        inside = np.eye(self.own.shape[1]) + self.own.T @ weighed
        used = np.flatnonzero(np.any(self.design != 0.0, axis=0))
        design = self.design[:, used]
        both = np.column_stack([design, self.left])
        inner = twice[:, None] * both - weighed @ np.linalg.solve(inside, weighed.T @ both)
        normal = design.T @ inner
        precision = np.zeros((self.design.shape[1],) * 2)
        precision[np.ix_(used, used)] = normal[:, :-1]
        right = np.zeros(self.design.shape[1])
        right[used] = normal[:, -1]
        return precision, right

    def left_after(self, step: Floats, weight: Floats) -> Complexes:
        """What neither the shared unknowns nor the take's own ones explain."""
        rest = self.left - self.design @ step
        weighed = np.concatenate([weight, weight])[:, None] * self.own
        own = np.linalg.solve(np.eye(self.own.shape[1]) + self.own.T @ weighed, weighed.T @ rest)
        rest = rest - self.own @ own
        half = len(weight)
        return np.asarray(rest[:half] + 1j * rest[half:])


def _takes(rows: Sequence[ResponseRows]) -> list[_Take]:
    rigs, sessions = (list(dict.fromkeys(names)) for names in ([r.rig for r in rows], [r.session for r in rows]))
    takes = []
    for row in rows:
        distance = np.zeros((len(row.left), len(rigs)), dtype=np.complex128)
        distance[:, rigs.index(row.rig)] = DISTANCE_SD_M * row.by_distance
        hats = GAIN_SD * smooth_basis(row.frequency_hz)
        gain = np.zeros((len(row.left), len(sessions), 2, hats.shape[1]), dtype=np.complex128)
        gain[:, sessions.index(row.session), 0], gain[:, sessions.index(row.session), 1] = hats, 1j * hats
        design = np.concatenate([row.slope, distance, gain.reshape(len(row.left), -1)], axis=-1)
        takes.append(_Take(_stacked(row.left), _stacked(design), _stacked(row.own)))
    return takes


def _stacked(values: Complexes) -> Floats:
    return np.concatenate([values.real, values.imag])


def smooth_basis(frequency_hz: Floats) -> Floats:
    """Return cubic splines in ln f, one knot an octave, shape (points, coefficients)."""
    last = int(np.ceil(KNOTS_AN_OCTAVE * np.log2(HIGHEST_HZ / LOWEST_HZ)))
    knots = np.arange(-3, last + 4, dtype=np.float64)
    place = KNOTS_AN_OCTAVE * np.log2(frequency_hz / LOWEST_HZ)
    return np.asarray(BSpline.design_matrix(np.clip(place, 0.0, last - 1e-9), knots, 3).toarray())


def _solved(told: Sequence[tuple[Floats, Floats]], prior: Floats) -> tuple[Floats, Floats]:
    precision, right = prior.copy(), np.zeros(len(prior))
    for more, force in told:
        precision += more
        right += force
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return covariance @ right, covariance


def _noise(rows: Sequence[ResponseRows], left: Sequence[Complexes]) -> Floats:
    """Size of each take's noise, a part: what differs from one seating of a cone to another; what repeats is none."""
    sizes = np.full(len(rows), np.nan)
    for i, a in enumerate(rows):
        for j, b in enumerate(rows):
            if i != j and a.cone == b.cone and np.array_equal(a.frequency_hz, b.frequency_hz):
                square = float(np.median(np.abs(left[i] - left[j]) ** 2))
                sizes[i] = np.sqrt(
                    square / (4.0 * np.log(2.0))
                )  # |difference|² is exponential, its mean four of a part's
    alone = [
        np.sqrt(0.5 * np.average(np.abs(one) ** 2, weights=row.worth)) for one, row in zip(left, rows, strict=True)
    ]
    known = sizes[np.isfinite(sizes)]
    sizes = np.where(np.isfinite(sizes), sizes, np.median(known) if len(known) else alone)
    return np.asarray(np.maximum(sizes, LEAST_NOISE))
