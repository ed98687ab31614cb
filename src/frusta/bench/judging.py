"""The verdict on a take that lies on disk: keep, repeat or reseat, why, and what changed since the seating before."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.bench.events import TakeFaultNote, TakeVerdict
from frusta.bench.room import room_lines
from frusta.bench.slips import find_slip
from frusta.bench.thermal import coil_resistance
from frusta.campaign.calibration_file import CalibrationTable
from frusta.campaign.package import Package
from frusta.campaign.resolve import LoadedTake, ResolvedTake, load_take
from frusta.campaign.rigid_response import AIR_C, rigid_response
from frusta.cone.heat import copper_warming_k
from frusta.errors import PackageError, ParameterError
from frusta.signal.calibration import Calibration
from frusta.signal.reading import Conditions, TakeReading, TakeSignals, read_take
from frusta.signal.transfer import sound_speed_m_s

Floats = NDArray[np.float64]

MOST_WARMING_K = 60.0
"""Above this a coil's resistance is off by a quarter, and its glue may be near its end."""

RESEAT = "reseat"
COMPARED = (("level_db", "dB"), ("breakup_hz", "% in break-up"))
HELD = ("level_db", "breakup_hz", "breakup_loss_factor", "upper_limit_hz", "input_thd_peak_percent", "snr_db")
"""Figures that a journal keeps, so that the next seating can be compared after a restart."""

GUESSED_SEATING_DB, GUESSED_SEATING_PERCENT = 0.3, 0.4
"""Standard deviation of a seating where nothing was repeated yet. A guess, and said to be one."""

Z_99 = 2.576


@dataclass(frozen=True)
class Earlier:
    """Figures of an earlier seating of the same cone, at the same level of a series."""

    seating: int
    figures: dict[str, float]
    uncertainties: dict[str, float]


@dataclass(frozen=True)
class SeatingScatter:
    """Standard deviation from seating to seating of one figure, and how many differences stand behind it.

    Parameters
    ----------
    sd : float
        dB for a level, % for a frequency.
    pairs : int
        0: a guess.
    """

    sd: float
    pairs: int

    def reach(self, u: float, terms: float = 2.0) -> float:
        """Return the difference that 99 of 100 stay within.

        Parameters
        ----------
        u : float
            Of the readings.
        terms : float
            Variance of the difference in units of a seating's: 2 for two seatings, 1 + 1/n for one against n.
        """
        from scipy.stats import t as student_t

        factor = float(student_t.ppf(0.995, self.pairs)) if self.pairs else Z_99
        return factor * math.hypot(math.sqrt(terms) * self.sd, u)


def judge_take(
    package: Package,
    resolved: ResolvedTake,
    calibration: CalibrationTable | None = None,
    earlier: Earlier | None = None,
    scatter: dict[str, SeatingScatter] | None = None,
    current_full_scale_a: float | None = None,
) -> TakeVerdict:
    """Read a take from the disk and judge it.

    Parameters
    ----------
    package : Package
    resolved : ResolvedTake
        The take need not stand in takes.csv yet.
    calibration : CalibrationTable, optional
        Of the microphone.
    earlier : Earlier, optional
        The previous seating of the same cone.
    scatter : dict of str to SeatingScatter, optional
        By figure.
    current_full_scale_a : float, optional
        Of the current channel, where there is one: the coil's temperature is then told.

    Returns
    -------
    TakeVerdict
        A recording that cannot be read is a verdict, too: repeat.
    """
    try:
        loaded = load_take(package, resolved)
        slip = _slip(loaded)
        found = read_take(_signals(loaded, resolved), _conditions(resolved, calibration))
    except (PackageError, ParameterError) as error:
        what, _, remedy = str(error).rpartition("; ")
        note = TakeFaultNote("silent" if "silent" in what else "truncated", what, remedy)
        return TakeVerdict("repeat", (note,), lines=(f"{note.fault}: {what}", remedy), advice="repeat")
    verdict = _verdict(found, resolved, slip, earlier, scatter or {})
    return replace(verdict, lines=(*verdict.lines, *coil_lines(loaded, resolved, current_full_scale_a)))


def held_figures(
    package: Package, resolved: ResolvedTake, calibration: CalibrationTable | None = None
) -> tuple[dict[str, float], dict[str, float]]:
    """Return the figures that the bench compares, and their standard uncertainties, read from a recording.

    Parameters
    ----------
    package : Package
    resolved : ResolvedTake
    calibration : CalibrationTable, optional
        Of the microphone.

    Raises
    ------
    FrustaError
        If it cannot be read, or what it holds does not count.
    """
    found = read_take(_signals(load_take(package, resolved), resolved), _conditions(resolved, calibration))
    if found.quality == "repeat":
        raise ParameterError(f"{resolved.take.take} does not count ({found.faults[0].fault}); it is left out")
    return _held(found)


def coil_lines(loaded: LoadedTake, resolved: ResolvedTake, current_full_scale_a: float | None) -> tuple[str, ...]:
    """Return the coil's resistance and temperature during a sweep in words; none without a current channel."""
    volts = resolved.drive_full_scale_v
    if loaded.current is None or current_full_scale_a is None or volts is None or loaded.played is None:
        return ()
    try:
        voltage = voltage_of(loaded, volts, resolved.drive_gain_db)
        ohm, ohm_u = coil_resistance(voltage, loaded.current * current_full_scale_a, loaded.sample_rate_hz)
    except ParameterError as error:
        return (str(error),)
    said = f"coil {ohm:.3g} ± {ohm_u:.1g} ohm during the sweep"
    cold = resolved.coil_resistance_ohm
    if cold is None:
        return (f"{said}; its cold resistance is not in the tables, so no temperature",)
    warmer = copper_warming_k(ohm, cold)
    hot = "; let it cool" if warmer > MOST_WARMING_K else ""
    return (f"{said}: about {max(warmer, 0.0):.0f} K over 20 °C{hot}",)


def voltage_of(loaded: LoadedTake, drive_full_scale_v: float, drive_gain_db: float) -> Floats:
    """Return the volts at the coil on the recording's own clock: the loopback, brought to what was played.

    Raises
    ------
    ParameterError
        If there is no loopback, or it is silent.
    """
    if loaded.reference is None or loaded.played is None or not np.any(loaded.reference):
        raise ParameterError("volts at the coil need a loopback beside the current; record one with --reference")
    played = 10.0 ** (drive_gain_db / 20.0) * loaded.played.samples
    ratio = math.sqrt(float(np.sum(played**2)) / float(np.sum(loaded.reference**2)))
    return np.asarray(loaded.reference * ratio * drive_full_scale_v)


def seating_scatter(pairs: Sequence[tuple[dict[str, float], dict[str, float]]]) -> dict[str, SeatingScatter]:
    """Return the scatter of seatings from earlier pairs of seatings of the same cone, or a guess without any.

    Parameters
    ----------
    pairs : sequence of (figures, figures)
        Consecutive seatings.
    """
    found = {}
    for key, _ in COMPARED:
        gaps = [g for a, b in pairs if (g := figure_gap(key, a, b)) is not None]
        guess = GUESSED_SEATING_DB if key == "level_db" else GUESSED_SEATING_PERCENT
        if gaps:
            # variance of a difference is twice that of a seating; the guess counts as one more difference
            square = (sum(g**2 for g in gaps) + 2.0 * guess**2) / (len(gaps) + 1)
            found[key] = SeatingScatter(math.sqrt(square / 2.0), len(gaps) + 1)
        else:
            found[key] = SeatingScatter(guess, 0)
    return found


def compare(
    figures: dict[str, float],
    uncertainties: dict[str, float],
    earlier: Earlier,
    scatter: dict[str, SeatingScatter],
) -> tuple[str, bool]:
    """Return the difference to the previous seating in words, and whether it is as before.

    Parameters
    ----------
    figures, uncertainties : dict of str to float
        Of the take at hand.
    earlier : Earlier
    scatter : dict of str to SeatingScatter
        Where a figure's is missing, the guess.
    """
    parts, far, guessed = [], False, False
    for key, unit in COMPARED:
        gap = figure_gap(key, earlier.figures, figures)
        if gap is None:
            continue
        expected = scatter.get(key) or seating_scatter([])[key]
        u = math.hypot(figure_u(key, figures, uncertainties), figure_u(key, earlier.figures, earlier.uncertainties))
        far = far or abs(gap) > expected.reach(u)
        guessed = guessed or expected.pairs == 0
        parts.append(f"{signed(gap)} {unit}")
    if not parts:
        return "nothing to compare with the seating before", True
    words = f"{RESEAT}: further from the seating before than seatings scatter" if far else "as before"
    return f"{', '.join(parts)} against seating {earlier.seating}: {words}" + (" (scatter guessed)" * guessed), not far


def _verdict(
    found: TakeReading,
    resolved: ResolvedTake,
    slip: str | None,
    earlier: Earlier | None,
    scatter: dict[str, SeatingScatter],
) -> TakeVerdict:
    figures, uncertainties = _held(found)
    faults = [TakeFaultNote(f.fault, f.where, f.what_to_do) for f in found.faults]
    quality = found.quality
    if slip is not None and not any(f.fault == "dropout" for f in faults):
        faults.insert(0, TakeFaultNote("dropout", slip, "close other programs, then sweep again"))
        quality = "repeat"
    lines = [f"{f.fault}: {f.where}. {f.what_to_do[:1].upper()}{f.what_to_do[1:]}" for f in faults]
    if not faults:
        lines.append("clean: no clipping, no lost samples, no bang")
    advice = "repeat" if quality == "repeat" else "keep"
    if earlier is not None and quality != "repeat":
        words, same = compare(figures, uncertainties, earlier, scatter)
        lines.append(words)
        if not same:
            advice = "reseat"
    lines.append(_figures_line(found, resolved))
    if not any(f.fault == "clock" for f in faults):
        lines.append(clock_line(found.figures, found.uncertainties))
    speed = sound_speed_m_s(AIR_C if resolved.temperature_c is None else resolved.temperature_c)
    lines += room_lines(found.gate, 1e-3 * resolved.rig.microphone_distance_mm, speed)
    return TakeVerdict(quality, tuple(faults), figures, uncertainties, tuple(line for line in lines if line), advice)  # type: ignore[arg-type]


def _held(found: TakeReading) -> tuple[dict[str, float], dict[str, float]]:
    figures = {k: v for k in HELD if (v := found.figures.get(k)) is not None}
    return figures, {k: u for k, u in found.uncertainties.items() if k.removesuffix("_u") in figures}


def _figures_line(found: TakeReading, resolved: ResolvedTake) -> str:
    figures = found.figures
    words = []
    if (level := figures.get("level_db")) is not None:
        gain_db = resolved.drive_gain_db
        words.append(f"level {level + gain_db:.1f} dB" + ("" if resolved.full_scale_pa else " relative"))
    if (breakup := figures.get("breakup_hz")) is not None:
        words.append(f"break-up {breakup:.0f} Hz")
    if (snr := figures.get("snr_db")) is not None:
        words.append(f"{snr:.0f} dB over the noise")
    if (thd := figures.get("piston_thd_peak_percent")) is not None:
        words.append(f"distortion {thd:.2g} % at most")
    if level is not None and round(resolved.drive_gain_db, 1) != 0.0:
        words.append(f"drive gain {signed(resolved.drive_gain_db)} dB")
    return ", ".join(words)


def clock_line(figures: Mapping[str, float | None], uncertainties: Mapping[str, float]) -> str:
    """Return in words how two clocks differ that a take shows to be two, else nothing.

    Parameters
    ----------
    figures, uncertainties : mapping of str to float
        Of a reading; ``clock_ppm`` is the recorder's clock over the player's.

    Examples
    --------
    >>> clock_line({"clock_ppm": -84.6}, {"clock_ppm_u": 1.2})
    "the microphone's clock is 85 ± 2 ppm slow against the player's: taken out"
    """
    ppm, u = figures.get("clock_ppm"), uncertainties.get("clock_ppm_u", math.inf)
    if ppm is None or abs(ppm) <= Z_99 * u:
        return ""
    word = "fast" if ppm > 0.0 else "slow"
    return f"the microphone's clock is {abs(ppm):.0f} ± {math.ceil(u):.0f} ppm {word} against the player's: taken out"


def _slip(loaded: LoadedTake) -> str | None:
    """Where the loopback is torn."""
    if loaded.reference is None or loaded.played is None:
        return None
    slip = find_slip(loaded.reference, loaded.played.sweep or loaded.played.samples, loaded.sample_rate_hz)
    return None if slip is None else f"{slip.where} (in the loopback)"


def _signals(loaded: LoadedTake, resolved: ResolvedTake) -> TakeSignals:
    sweep = loaded.played.sweep if loaded.played else None
    played = loaded.played.samples if loaded.played and sweep is None else None
    return TakeSignals(
        loaded.recording, loaded.sample_rate_hz, loaded.reference, played, sweep, resolved.kind, loaded.bits
    )


def _conditions(resolved: ResolvedTake, table: CalibrationTable | None) -> Conditions:
    return Conditions(
        full_scale_pa=resolved.full_scale_pa,
        drive_gain_db=resolved.drive_gain_db,
        temperature_c=AIR_C if resolved.temperature_c is None else resolved.temperature_c,
        calibration=None if table is None else Calibration(table.frequency_hz, table.level_db, table.phase_deg),
        rigid=rigid_response(resolved).response,
    )


def figure_gap(key: str, before: dict[str, float], now: dict[str, float]) -> float | None:
    """Return the difference in the unit in which a figure is compared: dB, or percent; None where one is missing."""
    if key not in before or key not in now:
        return None
    return now[key] - before[key] if key == "level_db" else 100.0 * (now[key] / before[key] - 1.0)


def figure_u(key: str, figures: dict[str, float], uncertainties: dict[str, float]) -> float:
    """Return the standard uncertainty of a figure in the unit in which it is compared; 0 where none is told."""
    u = uncertainties.get(f"{key}_u", 0.0)
    return u if key == "level_db" else 100.0 * u / figures[key]


def signed(value: float) -> str:
    """Return a difference with one decimal and its sign.

    >>> signed(0.26), signed(-0.01)
    ('+0.3', '0.0')
    """
    return f"{'−' if round(value, 1) < 0 else '+' if round(value, 1) > 0 else ''}{abs(value):.1f}"
