"""A seating against an earlier sitting of the same cone, in words: level and break-up, the check cone beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from frusta.bench.judging import COMPARED, SeatingScatter, figure_gap, figure_u, seating_scatter, signed
from frusta.campaign.counts import things

NAMES = {"level_db": "level", "breakup_hz": "break-up"}
FURTHER = "further than seatings scatter"


@dataclass(frozen=True)
class Past:
    """What an earlier sitting found of the cone at hand.

    Parameters
    ----------
    when : str
        The day.
    seatings : int
    figures, uncertainties : dict of str to float
        Means over the seatings; standard uncertainties of one reading.
    same_level : bool
        Whether levels can be compared: both in pascals, or both relative.
    check_moved_db : float or None
        By how much the check cone plays louder now than then; None where it was not heard in both sittings.
    check_terms : float
        Variance of that, in units of the variance of one seating.
    is_check : bool
        Whether the cone at hand is the check cone itself.
    """

    when: str
    seatings: int
    figures: dict[str, float]
    uncertainties: dict[str, float]
    same_level: bool = True
    check_moved_db: float | None = None
    check_terms: float = 0.0
    is_check: bool = False


def past_line(
    figures: dict[str, float], uncertainties: dict[str, float], past: Past, scatter: dict[str, SeatingScatter]
) -> str:
    """Return how a seating compares with an earlier sitting, in words; nothing where no figure is in both.

    The level is judged once the check cone's own change is taken out. From one sitting to the next the rig, the air
    and the cone may change, so that this never asks for another seating.

    Parameters
    ----------
    figures, uncertainties : dict of str to float
        Of the take at hand.
    past : Past
    scatter : dict of str to SeatingScatter
        From seating to seating; where a figure's is missing, the guess.
    """
    parts, far, guessed = [], False, False
    for key, _ in COMPARED:
        gap = figure_gap(key, past.figures, figures)
        if gap is None or (key == "level_db" and not past.same_level):
            continue
        expected = scatter.get(key) or seating_scatter([])[key]
        terms, own = 1.0 + 1.0 / past.seatings, gap
        words = f"{NAMES[key]} {signed(gap)} {'dB' if key == 'level_db' else '%'}"
        if key == "level_db" and past.check_moved_db is not None:
            own, terms = gap - past.check_moved_db, terms + past.check_terms
            words += f" (the check cone: {signed(past.check_moved_db)} dB)"
        u = math.hypot(figure_u(key, figures, uncertainties), figure_u(key, past.figures, past.uncertainties))
        far = far or abs(own) > expected.reach(u, terms)
        guessed = guessed or expected.pairs == 0
        parts.append(words)
    if not parts:
        return ""
    said = f"against {things(past.seatings, 'seating')} of {past.when}: {', '.join(parts)}; "
    return said + (f"{FURTHER}: {_why(past)}" if far else "as before") + " (scatter guessed)" * guessed


def _why(past: Past) -> str:
    if past.is_check:
        return "the rig or this cone has changed"
    if past.check_moved_db is None:
        return "the cone, the rig or how it sits has changed"
    return "the cone or how it sits has changed"
