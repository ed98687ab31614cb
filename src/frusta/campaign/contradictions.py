"""Takes of one seating, and seatings of one cone, that do not show the same cone.

What differs between takes of one seating is noise; between seatings also the joint, which moves the lowest mode, and
the temperature, which moves all alike by a per cent or two. Modes that agree with neither are another cone's, or the
cone has become another.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.estimate_notes import listed
from frusta.material.observations import RecordedModes

Floats = NDArray[np.float64]

LOUD_DB = -3.0
"""Prominence of a mode that any take of the cone must show."""
NEAR = 0.015
"""|ln f| within which two takes show the same mode: ten times what noise does to a loud one."""
COMMON = 0.02
"""|ln f| by which warmth may move all modes alike: ten kelvin of a plastic that loses 0.4 % of its modulus in each."""
LEAST_SHARE = 0.6
"""Of the loud modes that must be found in the other: chance meets a quarter, the joint moves one or two."""
LEAST_LOUD = 3
"""Loud modes in each that make a pattern; fewer cannot contradict."""
FARTHEST = 0.5
"""|ln f| up to which a common shift is looked for, to say by how much they differ."""
STEP = 0.0025


def agree(a: RecordedModes, b: RecordedModes) -> bool:
    """Return whether two recordings can be of one cone; where there are too few loud modes to tell, yes.

    Parameters
    ----------
    a, b : RecordedModes

    Examples
    --------
    >>> import numpy as np
    >>> def modes(hertz):
    ...     f = np.array(hertz)
    ...     return RecordedModes(f, 1e-4 * f, 0 * f + 0.02, 0 * f + 1e-4, 0 * f + 6.0)
    >>> agree(modes([2000.0, 3100.0, 4400.0]), modes([2010.0, 3110.0, 4390.0]))
    True
    >>> agree(modes([2000.0, 3100.0, 4400.0]), modes([2400.0, 3720.0, 5280.0]))
    False
    """
    if min(_loud(a).size, _loud(b).size) < LEAST_LOUD:
        return True
    return _best_share(a, b, COMMON)[0] >= LEAST_SHARE


def common_ratio(a: RecordedModes, b: RecordedModes) -> float | None:
    """Return by which factor all of b's frequencies lie over a's, where one factor explains them; else None.

    Parameters
    ----------
    a, b : RecordedModes
    """
    share, shift = _best_share(a, b, FARTHEST)
    return math.exp(shift) if share >= 1.0 - 0.5 * (1.0 - LEAST_SHARE) else None


@dataclass(frozen=True)
class Agreement:
    """Which of several recordings show one cone.

    Parameters
    ----------
    kept : tuple of str
        The majority that agrees; empty where there is none.
    odd : tuple of str
        The others.
    ratio : float or None
        Of the first odd one's frequencies to those it is held against, where one factor explains them.
    """

    kept: tuple[str, ...]
    odd: tuple[str, ...] = ()
    ratio: float | None = None


def agreement(recordings: Mapping[str, RecordedModes]) -> Agreement:
    """Return which recordings show one cone: more than half must, else none can be believed.

    Parameters
    ----------
    recordings : mapping of str to RecordedModes
        By take, or by seating.
    """
    keys = list(recordings)
    camps = [[other for other in keys if agree(recordings[key], recordings[other])] for key in keys]
    largest = max(camps, key=len, default=[])
    odd = [key for key in keys if key not in largest]
    if not odd:
        return Agreement(tuple(keys))
    ratio = common_ratio(recordings[largest[0]], recordings[odd[0]])
    kept = tuple(largest) if 2 * len(largest) > len(keys) else ()
    return Agreement(kept, tuple(odd), ratio)


def takes_told(seating: str, takes: Sequence[str], found: Agreement) -> str:
    """Return in words that takes of one seating contradict each other.

    Parameters
    ----------
    seating : str
        Where: "seating 2 of otter-1".
    takes : sequence of str
        All of them.
    found : Agreement
        With at least one odd take.
    """
    others = [take for take in takes if take not in found.odd]
    what = f"takes of {seating} contradict each other: {listed(found.odd)} shows another cone than {listed(others)}"
    use = f"{listed(found.odd)} not used" if found.kept else "none of them is used"
    return f"{what}{_by(found)}: {use}; set the wrong one aside, or correct specimen and seating in takes.csv"


def seatings_told(cone: str, seatings: Sequence[str], found: Agreement) -> str:
    """Return in words that seatings of one cone contradict each other.

    Parameters
    ----------
    cone : str
    seatings : sequence of str
        Their numbers.
    found : Agreement
        With at least one odd seating.
    """
    others = [number for number in seatings if number not in found.odd]
    what = f"{cone}: seating {listed(found.odd)} shows another cone than seating {listed(others)}"
    use = f"seating {listed(found.odd)} not used" if found.kept else "the cone is not used"
    return (
        f"{what}{_by(found)}: {use}; correct the specimen in takes.csv, or, if it was treated or changed in between, "
        "give it a key of its own from then on"
    )


def _by(found: Agreement) -> str:
    if found.ratio is None:
        return ""
    percent = 100.0 * (found.ratio - 1.0)
    return f", as if all modes lay {abs(percent):.0f} % {'higher' if percent > 0.0 else 'lower'}"


def _loud(modes: RecordedModes) -> Floats:
    return np.asarray(np.log(modes.frequency_hz[modes.prominence_db > LOUD_DB]))


def _best_share(a: RecordedModes, b: RecordedModes, reach: float) -> tuple[float, float]:
    """The largest share of loud modes found in the other, and the middle of the shifts of b over a (ln f) for it."""
    shifts: Floats = STEP * np.arange(-round(reach / STEP), round(reach / STEP) + 1, dtype=np.float64)
    met = _met(_loud(a), np.log(b.frequency_hz), shifts) + _met(_loud(b), np.log(a.frequency_hz), -shifts)
    most = float(met.max())
    return most / max(_loud(a).size + _loud(b).size, 1), float(np.median(shifts[met == most]))


def _met(loud: Floats, others: Floats, shifts: Floats) -> Floats:
    """How many of the loud modes, moved by each shift, lie near one of the others."""
    if not loud.size or not others.size:
        return np.zeros(len(shifts))
    apart = np.abs(loud[None, :, None] + shifts[:, None, None] - others[None, None, :])
    return np.asarray((apart.min(axis=2) < NEAR).sum(axis=1), dtype=np.float64)
