"""Break-up of a cone that has not been printed: which mode it is may differ from print to print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from frusta.cone.driver import Driver
from frusta.cone.poles import Poles, break_up, find_poles, prominences_db
from frusta.cone.reduction import MODES
from frusta.design.cone_modes import ForecastMode, lowest_hz
from frusta.design.figures import Interval, interval_of
from frusta.design.possible import PossibleCone
from frusta.design.responses import SPARE_MODES, driver_of
from frusta.design.rig import ForecastRig
from frusta.signal.level import Figure

ABOVE_HZ, LEAST_DB = 1000.0, -12.0
"""The piston band's end and the least contribution, as the reading defines break-up."""
CLOSE_DB = 6.0
"""A mode whose contribution is this near the least one may change sides from print to print."""
CLOSE_SD = 3.0
"""So may one this many standard uncertainties from the piston band's end."""
SIDES_95 = 1.96
KEYS = ("breakup_hz", "breakup_loss_factor", "breakup_prominence_db")


def break_up_figures(
    driver: Driver,
    poles: Poles,
    modes: Sequence[ForecastMode],
    possible: Sequence[PossibleCone],
    rig: ForecastRig,
) -> dict[str, Interval]:
    """Return the break-up's frequency, loss factor and contribution with where 95 % of prints lie.

    Where no mode is near to changing sides the break-up is the same one in every print, and its interval follows from
    the exact derivatives of that pole. Otherwise every possible print is asked which mode is its break-up.

    Parameters
    ----------
    driver : Driver
        Of the expected cone.
    poles : Poles
        Of this driver.
    modes : sequence of ForecastMode
        One a pole.
    possible : sequence of PossibleCone
        The draws behind the band.
    rig : ForecastRig

    Returns
    -------
    dict of str to Interval
    """
    place = break_up(driver, poles, ABOVE_HZ, LEAST_DB) if len(modes) else None
    none = f"no mode above 1000 Hz contributes -12 dB or more of the rest up to {rig.stop_hz:.0f} Hz"
    if not _close_call(modes, place):
        if place is None:
            return dict.fromkeys(KEYS, Interval(None, reason=none))
        mode = modes[place]
        return {
            KEYS[0]: _normal(mode.frequency_hz, mode.frequency_hz_u),
            KEYS[1]: _normal(mode.loss_factor, mode.loss_factor_u),
            KEYS[2]: Interval(mode.prominence_db, reason="no interval is computed for it"),
        }
    drawn = [_of_print(driver, cone, rig, none) for cone in possible]
    expected = (Figure(None, None, none),) * 3
    if place is not None:
        own = modes[place]
        expected = (Figure(own.frequency_hz), Figure(own.loss_factor), Figure(own.prominence_db))
    found = {key: interval_of(expected[i], [one.figures[i] for one in drawn]) for i, key in enumerate(KEYS)}
    others = sum(one.place not in (None, place) for one in drawn)
    if place is not None and others and found["breakup_hz"].high_95 is not None:
        words = f"another mode breaks up first in {others} of {len(drawn)} possible prints"
        found["breakup_hz"] = replace(found["breakup_hz"], reason=words)
    return found


def _normal(value: float, u: float) -> Interval:
    """An interval of a positive figure, ± 1.96 standard uncertainties on a logarithmic scale."""
    factor = float(np.exp(SIDES_95 * u / value))
    return Interval(value, value / factor, value * factor)


def _close_call(modes: Sequence[ForecastMode], place: int | None) -> bool:
    """Whether which mode is the break-up may differ from print to print."""
    end = len(modes) if place is None else place + 1
    for mode in modes[:end]:
        above = float(np.log(mode.frequency_hz / ABOVE_HZ)) / (mode.frequency_hz_u / mode.frequency_hz)
        loud = (mode.prominence_db if mode.prominence_db is not None else -np.inf) - LEAST_DB
        if above > -CLOSE_SD and loud > -CLOSE_DB and (abs(above) < CLOSE_SD or abs(loud) < CLOSE_DB):
            return True
    return False


@dataclass(frozen=True)
class _Print:
    """One possible print: the place of its break-up among its modes, and that mode's figures."""

    place: int | None
    figures: tuple[Figure, Figure, Figure]


def _of_print(middle: Driver, cone: PossibleCone, rig: ForecastRig, none: str) -> _Print:
    """The break-up of one possible print, in the air of the expected one."""
    top_hz = min(rig.stop_hz, 0.98 * middle.top_hz)
    inside = int(np.count_nonzero(middle.cone.stiffness.real[1:] < (2.0 * np.pi * top_hz) ** 2))
    own = driver_of(cone, rig, middle.air, min(inside + SPARE_MODES, MODES))
    poles = find_poles(own, lowest_hz(own, cone), top_hz)
    place = break_up(own, poles, ABOVE_HZ, LEAST_DB) if len(poles.omega) else None
    if place is None:
        return _Print(None, (Figure(None, None, none),) * 3)
    loud = float(prominences_db(own, poles)[place])
    hertz, loss = float(poles.frequency_hz[place]), float(poles.loss_factor[place])
    return _Print(place, (Figure(hertz), Figure(loss), Figure(loud)))
