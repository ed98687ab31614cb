"""Where a cone stops moving as one piece: its lowest prominent mode."""

from __future__ import annotations

from dataclasses import dataclass

from frusta.signal.modes import Mode, ModeFit

PISTON_BAND_TOP_HZ = 1000.0
LEAST_PROMINENCE_DB = -12.0


@dataclass(frozen=True)
class Breakup:
    """The break-up mode, or why there is none."""

    mode: Mode | None
    reason: str | None = None


def find_breakup(
    fit: ModeFit, *, above_hz: float = PISTON_BAND_TOP_HZ, least_db: float = LEAST_PROMINENCE_DB
) -> Breakup:
    """Return the lowest mode above the piston band that contributes enough to be heard on axis.

    Parameters
    ----------
    fit : ModeFit
        Modes of one take.
    above_hz : float
        Top of the piston band, Hz.
    least_db : float
        Least own contribution over the rest (total less its own) at its frequency, dB.

    Returns
    -------
    Breakup
        The mode, narrow bell-mode blips aside; or None with the reason.
    """
    if not fit.modes:
        return Breakup(None, fit.reason)
    for mode in fit.modes:
        if mode.frequency_hz > above_hz and mode.prominence_db >= least_db and not mode.narrow:
            return Breakup(mode)
    return Breakup(None, f"no mode above {above_hz:g} Hz contributes {least_db:g} dB or more of the rest")
