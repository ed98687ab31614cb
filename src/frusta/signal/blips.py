"""Narrow features of a response below break-up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from frusta.signal.breakup import Breakup
from frusta.signal.modes import ModeFit

LOWEST_HZ = 100.0
LEAST_HEIGHT_DB = 0.2  # what the eye finds on a curve


@dataclass(frozen=True)
class Blip:
    """A narrow feature: a weak resonance between 100 Hz and break-up.

    ``height_db`` is the most it can add to the response around it, 20 lg(1 + own contribution over the rest).
    """

    frequency_hz: float
    frequency_hz_u: float
    loss_factor: float
    loss_factor_u: float
    height_db: float
    prominence_db: float


def find_blips(
    fit: ModeFit, breakup: Breakup, *, lowest_hz: float = LOWEST_HZ, least_height_db: float = LEAST_HEIGHT_DB
) -> tuple[Blip, ...]:
    """Return the narrow features of one take below its break-up.

    Parameters
    ----------
    fit : ModeFit
        Modes of the take, weak ones included. Features that ring much longer than the fitted window, and lie under
        one over its length, cannot be told from the response around them and are not found.
    breakup : Breakup
        Its break-up; without one every weak mode counts.
    lowest_hz : float
        Lower end of the search, Hz.
    least_height_db : float
        Smallest height given, dB.

    Returns
    -------
    tuple of Blip
        By rising frequency.
    """
    end_hz = breakup.mode.frequency_hz if breakup.mode else float("inf")
    blips = []
    for mode in sorted(fit.modes + fit.weak, key=lambda m: m.frequency_hz):
        height_db = 20.0 * float(np.log10(1.0 + 10.0 ** (mode.prominence_db / 20.0)))
        if lowest_hz <= mode.frequency_hz < end_hz and height_db >= least_height_db:
            blips.append(
                Blip(
                    mode.frequency_hz,
                    mode.frequency_hz_u,
                    mode.loss_factor,
                    mode.loss_factor_u,
                    height_db,
                    mode.prominence_db,
                )
            )
    return tuple(blips)
