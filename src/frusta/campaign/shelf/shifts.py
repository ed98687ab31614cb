"""How far each specimen's modes moved between two looks, and what of it every specimen shares.

The model: the logarithm of a mode's ratio is what the specimen did, plus what the rig and the air of the day did to
all (one shift of every mode, one more of first modes, which alone feel the neck's joint), plus a scatter from seating
to seating that is pooled over every specimen: a part of each mode by its rank, and a part that all modes of a seating
share, which no number of modes averages out. The shared part is learned from the check cone and
from those that moved as it did.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.shelf.mode_pairs import HeardMode

Floats = NDArray[np.float64]

PRIOR_DEGREES = 4.0
"""Weight of the scatter assumed before any seating is repeated."""

PRIOR_SD = {
    "frequency_hz": (3e-3, 1e-3, 5e-4),
    "loss_factor": (0.02, 0.01, 0.01),
}
"""Assumed standard deviation from seating to seating of first, second and higher modes, natural logarithm: a push-fit
joint of some 20 N/µm that scatters by a tenth moves first modes by 0.3 %, hardly the others."""

IN_COMMON_SHARE = 0.1
"""Assumed share of a first mode's scatter that all higher modes feel."""

SENSITIVITY_SD = 0.15
"""How much of a common shift one mode may take more or less than another: coil, joint and air share in each."""

_STUDENT = 4.0


@dataclass(frozen=True)
class Moved:
    """How the paired modes of one specimen moved in one figure.

    Attributes
    ----------
    log_ratio : ndarray, shape (modes,)
        Later over earlier, natural logarithm.
    variance : ndarray, shape (modes,)
        Of each: seatings and readings.
    first : ndarray of bool, shape (modes,)
        Whether it is the specimen's first mode.
    in_common : float
        Variance that all modes share: a seating moves them together.
    """

    log_ratio: Floats
    variance: Floats
    first: NDArray[np.bool_]
    in_common: float = 0.0


@dataclass(frozen=True)
class SeatingScatter:
    """Scatter from seating to seating, pooled over specimens.

    Attributes
    ----------
    by_rank : ndarray, shape (3,)
        Variance of first, second and higher modes.
    in_common : float
        Variance of what the second and higher modes of a seating share.
    degrees : float
        Degrees of freedom.
    """

    by_rank: Floats
    in_common: float
    degrees: float


@dataclass(frozen=True)
class Shift:
    """A shift and its standard uncertainty, natural logarithm; ``spread`` is what single modes differ by from it."""

    value: float
    u: float
    spread: float = 0.0


def seating_scatter(figure: str, specimens: Sequence[Sequence[HeardMode]]) -> SeatingScatter:
    """Return the scatter from seating to seating, pooled over specimens.

    Parameters
    ----------
    figure : {"frequency_hz", "loss_factor"}
    specimens : sequence of sequence of HeardMode
        Of every specimen and look.

    Returns
    -------
    SeatingScatter
        A scaled inverse chi-square prior of `PRIOR_DEGREES` holds where few were seated twice.
    """
    squares, degrees = np.zeros(3), np.zeros(3)
    together, together_degrees = 0.0, 0
    for modes in specimens:
        for rank, mode in enumerate(modes):
            logs = mode.seating_logs(figure)
            squares[min(rank, 2)] += float(np.sum((logs - logs.mean()) ** 2))
            degrees[min(rank, 2)] += logs.size - 1
        shared = _seating_means(figure, modes[1:])
        together += float(np.sum((shared - shared.mean()) ** 2)) if shared.size else 0.0
        together_degrees += max(shared.size - 1, 0)
    prior = np.array(PRIOR_SD[figure]) ** 2
    by_rank = (PRIOR_DEGREES * prior + squares) / (PRIOR_DEGREES + degrees)
    in_common = (PRIOR_DEGREES * (IN_COMMON_SHARE**2 * prior[0]) + together) / (PRIOR_DEGREES + together_degrees)
    return SeatingScatter(by_rank, float(in_common), float(PRIOR_DEGREES + degrees.min()))


def _seating_means(figure: str, modes: Sequence[HeardMode]) -> Floats:
    """Mean deviation of each seating over the modes that it heard, shape (seatings,)."""
    rest: dict[int, list[float]] = {}
    for mode in modes:
        logs = mode.seating_logs(figure)
        for seating, value in zip(mode.by_seating, logs - logs.mean(), strict=True):
            rest.setdefault(seating, []).append(float(value))
    return np.array([np.mean(values) for values in rest.values()])


def moved(
    figure: str,
    earlier: Sequence[HeardMode],
    later: Sequence[HeardMode],
    pairs: Sequence[tuple[int, int]],
    scatter: SeatingScatter,
) -> Moved:
    """Return how far paired modes moved, with the variance of each.

    Parameters
    ----------
    figure : {"frequency_hz", "loss_factor"}
    earlier, later : sequence of HeardMode
    pairs : sequence of (int, int)
        See `frusta.campaign.shelf.mode_pairs.pair_modes`.
    scatter : SeatingScatter
        See `seating_scatter`.
    """
    ratios, variances, common = [], [], []
    for i, j in pairs:
        a, b = earlier[i], later[j]
        logs = a.seating_logs(figure), b.seating_logs(figure)
        ratios.append(float(logs[1].mean() - logs[0].mean()))
        seatings = 1 / logs[0].size + 1 / logs[1].size
        common.append(scatter.in_common * seatings)
        seated = scatter.by_rank[min(i, 2)] * seatings
        variances.append(seated + a.reading_variance(figure) + b.reading_variance(figure))
    first = np.array([i == 0 for i, _ in pairs], dtype=bool)
    return Moved(np.array(ratios), np.array(variances), first, float(np.median(common)) if common else 0.0)


def common_shift(move: Moved, shared: Shift, shared_first: Shift) -> Shift:
    """Return the shift of a specimen as all its modes tell it, the shared part taken out.

    Parameters
    ----------
    move : Moved
        At least one mode.
    shared, shared_first : Shift
        Of every mode, and more of first modes.

    Returns
    -------
    Shift
        Weighted mean, robust against one stray mode (Student weights, 4 degrees); its variance grows where the modes
        disagree by more than theirs explains, at first by `SENSITIVITY_SD` of the shift.
    """
    residual = move.log_ratio - shared.value - np.where(move.first, shared_first.value, 0.0)
    variance = move.variance + np.where(move.first, shared_first.u**2, 0.0)
    middle, square = float(np.median(residual)), 0.0
    for _ in range(30):
        spread = variance + square
        weight = (_STUDENT + 1) / (_STUDENT + (residual - middle) ** 2 / spread) / spread
        middle = float(np.sum(weight * residual) / np.sum(weight))
        square = _own_ways(residual - middle, variance, SENSITIVITY_SD * middle)
    return Shift(middle, float(np.sqrt(1 / np.sum(1 / spread) + move.in_common + shared.u**2)), square**0.5)


def _own_ways(rest: Floats, variance: Floats, expected: float) -> float:
    """Variance by which modes go their own ways beyond what theirs explains.

    An inverse chi-square prior of one degree at `expected`; strays count as far as three standard deviations.
    """
    limit = 9 * (variance + expected**2)
    beyond = float(np.sum(np.minimum(rest**2, limit) - variance))
    return max(0.0, (expected**2 + max(beyond, 0.0)) / (1 + max(rest.size - 1, 0)))


def one_mode_shift(move: Moved, index: int, whole: Shift, shared: Shift, shared_first: Shift) -> Shift:
    """Return the shift of one mode: its own ratio, drawn towards what all modes say.

    Parameters
    ----------
    move : Moved
    index : int
        Which mode.
    whole : Shift
        See `common_shift`.
    shared, shared_first : Shift
        As there.

    Returns
    -------
    Shift
        The better known of the two weighs more; a mode may differ from the whole by its `spread`.
    """
    extra = shared_first if move.first[index] else Shift(0.0, 0.0)
    own = float(move.log_ratio[index]) - shared.value - extra.value
    own_variance = float(move.variance[index]) + extra.u**2 + shared.u**2
    prior = whole.u**2 + whole.spread**2
    value = (own * prior + whole.value * own_variance) / (prior + own_variance)
    return Shift(value, float(np.sqrt(prior * own_variance / (prior + own_variance))))


@dataclass(frozen=True)
class Shared:
    """What rig and air did to every specimen alike.

    Attributes
    ----------
    every, first : Shift
        Of all modes, and more of first modes.
    expected, unknown_first : Shift
        The same before anything was heard.
    told : mapping of str to (Shift, Shift or None)
        What each specimen that it was learned from tells of both.
    """

    every: Shift
    first: Shift
    expected: Shift
    unknown_first: Shift
    told: Mapping[str, tuple[Shift, Shift | None]]

    @property
    def learned_from(self) -> tuple[str, ...]:
        """Specimens."""
        return tuple(self.told)

    def of(self, specimen: str) -> Shared:
        """Return what the others tell of one specimen: nobody is his own witness.

        A joint that wears or a warm day moves one cone more than another: by half of the shift until the specimens
        show how far they differ (inverse chi-square prior of one degree). That is part of the uncertainty.
        """
        others = {k: v for k, v in self.told.items() if k != specimen}
        pooled = pooled_shared(others, self.expected, self.unknown_first)
        square = CONES_DIFFER**2 * pooled.every.value**2
        beyond = sum((own.value - pooled.every.value) ** 2 - own.u**2 for own, _ in others.values())
        square = (square + max(beyond, 0.0)) / (1 + max(len(others) - 1, 0))
        every = Shift(pooled.every.value, float(np.sqrt(pooled.every.u**2 + square)))
        return Shared(every, pooled.first, self.expected, self.unknown_first, others)


def pooled_shared(told: Mapping[str, tuple[Shift, Shift | None]], expected: Shift, unknown_first: Shift) -> Shared:
    """Pool what specimens tell of the shared part with what was expected."""
    every = _pooled([every for every, _ in told.values()], expected)
    first = _pooled([first for _, first in told.values() if first is not None], unknown_first)
    return Shared(every, first, expected, unknown_first, dict(told))


NEGLIGIBLE_SHARED = 2.5e-3

CONES_DIFFER = 0.5
"""How much more or less than another one cone takes of what rig and air do to all, before it is known."""


def shared_shift(
    moves: Mapping[str, Moved], anchors: Sequence[str], suspects: Sequence[str], expected: Shift, first_sd: float
) -> Shared:
    """Return what all specimens share, learned from the anchors and those that moved as they did.

    Parameters
    ----------
    moves : mapping of str to Moved
        By specimen, of one figure.
    anchors : sequence of str
        Check cones. Without any, those nearest the densest place of all shifts stand in.
    suspects : sequence of str
        Specimens with an event between the looks; they teach nothing.
    expected : Shift
        What the temperatures of the days lead to expect, with its uncertainty: the prior.
    first_sd : float
        Standard deviation of the first modes' extra shift before anything is heard.
    """
    nothing = Shift(0.0, 0.0)
    unknown_first = Shift(0.0, first_sd)
    own = {name: common_shift(m, nothing, unknown_first) for name, m in moves.items() if m.log_ratio.size}
    able = [name for name in own if name not in suspects]
    used = [name for name in anchors if name in able] or _densest(able, own)
    for _ in range(6):
        every = _pooled([own[name] for name in used], expected)
        near = [
            name
            for name in able
            if abs(own[name].value - every.value) <= NEGLIGIBLE_SHARED + 2 * float(np.hypot(own[name].u, every.u))
        ]
        grown = [name for name in able if name in near or name in anchors]
        if grown == used:
            break
        used = grown
    return pooled_shared({name: (own[name], _first_extra(moves[name])) for name in used}, expected, unknown_first)


def _first_extra(move: Moved) -> Shift | None:
    """How much more the first mode moved than the others; None where there are no others."""
    if not move.first.any() or move.first.all():
        return None
    nothing = Shift(0.0, 0.0)
    others = ~move.first
    rest = common_shift(Moved(move.log_ratio[others], move.variance[others], move.first[others]), nothing, nothing)
    gap = float(move.log_ratio[move.first][0]) - rest.value
    return Shift(gap, float(np.sqrt(move.variance[move.first][0] + rest.u**2)))


def _pooled(shifts: Sequence[Shift], prior: Shift) -> Shift:
    """Weighted mean with a prior; wider where the shifts disagree."""
    values = np.array([prior.value, *(s.value for s in shifts)])
    variance = np.array([prior.u**2, *(s.u**2 for s in shifts)]) + 1e-12
    if len(shifts) > 2:
        middle = float(np.median(values[1:]))
        excess = float(np.median(np.abs(values[1:] - middle)) * 1.4826) ** 2 - float(np.median(variance[1:]))
        variance[1:] += max(excess, 0.0)
    weight = 1 / variance
    return Shift(float(np.sum(weight * values) / np.sum(weight)), float(np.sqrt(1 / np.sum(weight))))


def _densest(names: Sequence[str], own: Mapping[str, Shift]) -> list[str]:
    """The specimens round the place where most shifts meet; the smaller shift where two places tie."""
    if not names:
        return []

    def crowd(name: str) -> tuple[int, float]:
        near = sum(abs(own[other].value - own[name].value) <= 2 * NEGLIGIBLE_SHARED for other in names)
        return near, -abs(own[name].value)

    centre = max(names, key=crowd)
    return [name for name in names if abs(own[name].value - own[centre].value) <= 2 * NEGLIGIBLE_SHARED]
