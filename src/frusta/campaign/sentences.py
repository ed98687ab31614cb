"""The words of the findings: one sentence a difference, a rank, a campaign."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from frusta.campaign.counts import things
from frusta.campaign.figures import FIGURE, Figure
from frusta.campaign.findings import group_key
from frusta.material.handbook import plastic_named

if TYPE_CHECKING:
    from frusta.campaign.findings import Difference, Estimate, Findings, TakeFault

NBSP = "\u00a0"
MINUS = "\u2212"
HEADLINES = ("breakup_hz", "unevenness_common_db", "input_thd_peak_percent", "decay_2_percent_ms", "level_db")
"""Figures whose differences a terminal shows."""

SIDES_95 = 1.96
DB_PER_NEPER = 20 / math.log(10)


def amount(figure: Figure, log_ratio: float) -> float:
    """Return a log ratio in the figure's own words: per cent, or dB."""
    return DB_PER_NEPER * log_ratio if figure.scale == "db" else 100 * math.expm1(log_ratio)


def unit(figure: Figure) -> str:
    """Return the unit of `amount`."""
    return "dB" if figure.scale == "db" else "%"


def decimals_for(values: Sequence[float]) -> int:
    """Return the decimals that tell the ends of an interval from each other and from zero (0 to 3)."""
    spread = max(values) - min(values)
    nearest = min(abs(value) for value in values)
    needed = max(0, -math.floor(math.log10(spread / 4))) if spread > 0 else 0
    visible = max(0, -math.floor(math.log10(nearest))) if nearest > 0 else 0
    return min(max(needed, min(visible, needed + 1)), 3)


def signed(value: float, decimals: int) -> str:
    """Return a number with its sign; minus as the mathematical sign, none before zero."""
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0:
        return text
    return (MINUS if value < 0 else "+") + text


TIMES_FROM = 3.0
"""Ratio from which a difference is told as so many times, no longer in per cent."""


def in_times(figure: Figure, *log_ratios: float) -> bool:
    """Return whether ratios are better told as so many times than in per cent: one of them is threefold."""
    return figure.scale != "db" and max(abs(value) for value in log_ratios) >= math.log(TIMES_FROM)


def times(log_ratio: float) -> str:
    """Return a ratio as a number of times, two or three figures.

    Examples
    --------
    >>> times(math.log(15.45)), times(math.log(0.123))
    ('15', '0.12')
    """
    ratio = math.exp(log_ratio)
    return f"{ratio:.0f}" if ratio >= 9.95 else f"{ratio:.2g}"


def _so_many_times(figure: Figure, a: str, b: str, log_ratio: float) -> tuple[str, int]:
    """The larger first: "the input distortion of A is 15 times that of B"; and the sign of its log ratio."""
    sign = 1 if log_ratio >= 0 else -1
    more, less = (a, b) if sign > 0 else (b, a)
    return f"the {figure.name} of {more} is {times(abs(log_ratio))} times that of {less}", sign


def clear_sentence(figure: Figure, a: str, b: str, log_ratio: float, low: float, high: float) -> str:
    """Return the sentence of a clear difference: "A breaks up 11 % higher than B (6 to 17 %)."."""
    if in_times(figure, log_ratio):
        said, sign = _so_many_times(figure, a, b, log_ratio)
        least, most = sorted((sign * low, sign * high))
        return _opened(f"{said} ({times(least)} to {times(most)} times).")
    words = figure.more if log_ratio > 0 else figure.less
    middle, *ends = (abs(amount(figure, value)) for value in (log_ratio, low, high))
    ends.sort()
    decimals = decimals_for(ends)
    by = f"{middle:.{decimals}f}{NBSP}{unit(figure)}"
    interval = f"({ends[0]:.{decimals}f} to {ends[1]:.{decimals}f}{NBSP}{unit(figure)})"
    return _opened(f"{words.format(a=a, b=b, by=by)} {interval}.")


def tie_sentence(figure: Figure, a: str, b: str, low: float, high: float, then: str) -> str:
    """Return the sentence of a tie: "A and B cannot be told apart by their break-up (−1 to +7 %). ..."."""
    if in_times(figure, low, high):
        return _opened(
            f"{a} and {b} cannot be told apart by their {figure.name}: that of {a} may be anything from {times(low)} "
            f"to {times(high)} times that of {b}. {then}".strip()
        )
    ends = [amount(figure, low), amount(figure, high)]
    decimals = decimals_for(ends)
    interval = f"({signed(ends[0], decimals)} to {signed(ends[1], decimals)}{NBSP}{unit(figure)})"
    return _opened(f"{a} and {b} cannot be told apart by their {figure.name} {interval}. {then}".strip())


def would_show(figure: Figure, gap: float, prints: int) -> str:
    """Return "If the true gap is 3 %, seven prints each would show it."."""
    return f"If the true gap is {_gap(figure, gap)}, {things(prints, 'print')} each would show it."


def would_have_shown(figure: Figure, gap: float) -> str:
    """Return "A gap of 4 % would have shown."."""
    return f"A gap of {_gap(figure, gap)} would have shown."


def _gap(figure: Figure, gap: float) -> str:
    if in_times(figure, gap):
        return f"{times(abs(gap))} times"
    return f"{_short(abs(amount(figure, abs(gap))))}{NBSP}{unit(figure)}"


def no_interval_sentence(figure: Figure, a: str, b: str, log_ratio: float, why: str) -> str:
    """Return the sentence of a difference that has no interval."""
    if in_times(figure, log_ratio):
        return _opened(f"as printed here, {_so_many_times(figure, a, b, log_ratio)[0]}; {why}.")
    words = figure.more if log_ratio >= 0 else figure.less
    by = f"{_short(abs(amount(figure, log_ratio)))}{NBSP}{unit(figure)}"
    return _opened(f"as printed here, {words.format(a=a, b=b, by=by)}; {why}.")


def rank_sentence(name: str, low: int, high: int, tied_with: Sequence[str]) -> str:
    """Return a group's place, and a tie called a tie."""
    if low == high:
        return f"{name}: place {low}."
    return f"{name}: places {low} to {high}, a tie with {_listed(tied_with)}."


def summary_lines(findings: Findings) -> list[str]:
    """Return the findings in words, for a terminal.

    Parameters
    ----------
    findings : Findings
        Of one campaign.

    Returns
    -------
    list of str
        Takes read, faults, differences by the `HEADLINES`, ranking. The other differences stand in the findings.
    """
    readings = findings.readings
    lines = [f"{findings.campaign}: {things(len(readings), 'take')}."]
    for quality, text in (("look", "{takes} to look at:"), ("repeat", "{takes} to repeat:")):
        named = [row for row in readings if row.quality == quality]
        if named:
            lines.append(text.format(takes=things(len(named), "take").capitalize()))
            lines += [f"  {row.take}: {_fault_words(row.faults)}" for row in named]
    lines += [
        f"  {row.take or row.table}: {row.fault}, {row.where}. {row.what_to_do}"
        for row in findings.faults
        if row.take is None
    ]
    for key in HEADLINES:
        lines += _difference_lines(key, [row for row in findings.differences if row.figure == key])
    if findings.ranking:
        lines.append("Ranking:")
        lines += [f"  {row.verdict}" for row in findings.ranking]
    if findings.estimates:
        lines.append("What the plastics are:")
        for row in findings.estimates:
            lines.append(f"  {estimate_sentence(row)}")
            lines += [f"    {row.reasons[key]}" for key in ("estimate", "cones") if key in row.reasons]
    return lines


ESTIMATED = {
    "hoop_modulus": ("hoop modulus {value}", "hoop_modulus_gpa", f"{NBSP}GPa"),
    "layer_shear_modulus": ("layer shear {value}", "layer_shear_modulus_gpa", f"{NBSP}GPa"),
    "axial_modulus": ("across layers {value}", "axial_modulus_gpa", f"{NBSP}GPa"),
    "loss_factor": ("loss factor {value}", "loss_factor", ""),
    "density": ("density {value}", "density_kg_m3", f"{NBSP}kg/m³"),
}


def estimate_sentence(row: Estimate) -> str:
    """Return what is known of a material in one line: what was identified, then what was assumed, or why neither."""
    name = group_key(row.material, row.recipe)
    said: dict[bool, list[str]] = {True: [], False: []}
    for key, (words, column, unit_name) in ESTIMATED.items():
        value, u = getattr(row, column), getattr(row, f"{column}_u")
        if value is not None and u is not None:
            said[key in row.identified].append(words.format(value=f"{with_u(value, u)}{unit_name}"))
    if not said[True] and not said[False]:
        return f"{name}: no estimate; {next(iter(row.reasons.values()), 'no reason given')}."
    known = ", ".join(said[True]) or "nothing identified"
    assumed = f"; assumed: {', '.join(said[False])}" if said[False] else ""
    return f"{name}: {known}{assumed}."


def loss_lines(estimates: Sequence[Estimate], polymers: Mapping[str, str | None]) -> list[str]:
    """Return what a high loss factor may mean: a line for each that lies above the handbook's range of its polymer.

    Parameters
    ----------
    estimates : sequence of Estimate
    polymers : mapping of str to str or None
        As the maker wrote them, by material.

    References
    ----------
    Medel, Abad, Esteban, Polymer Testing 109 (2022), 107529 (abstract): poor bonding shows as high damping. The
    handbook's ranges are from memory.
    """
    lines = []
    for row in estimates:
        plastic, known = plastic_named(polymers.get(row.material))
        if known is None or row.loss_factor is None or row.loss_factor_u is None or "loss_factor" not in row.identified:
            continue
        if row.loss_factor - SIDES_95 * row.loss_factor_u > plastic.loss_high:
            lines.append(
                f"{group_key(row.material, row.recipe)}: the loss factor is higher than a handbook gives for "
                f"{known.upper()} ({plastic.loss_low:g} to {plastic.loss_high:g}). Lines or layers may be badly "
                "bonded, which shows as damping; a tapped stick printed hotter would tell."
            )
    return lines


def with_u(value: float, u: float) -> str:
    """Return a value with its standard uncertainty, two digits of the latter.

    Examples
    --------
    >>> with_u(3.2941, 0.0312)
    '3.294 ± 0.031'
    >>> with_u(1240.3, 11.6)
    '1240 ± 12'
    """
    if u <= 0.0:
        return f"{value:.4g}"
    decimals = max(0, 1 - math.floor(math.log10(u)))
    return f"{value:.{decimals}f} ± {u:.{decimals}f}"


def _difference_lines(key: str, rows: Sequence[Difference]) -> list[str]:
    """Verdicts where there is an interval; the other pairs of a profile in one line."""
    if not any(row.ratio is not None for row in rows):
        return []
    lines = [f"{FIGURE[key].name.capitalize()}:"]
    for profile in dict.fromkeys(row.profile for row in rows):
        here = [row for row in rows if row.profile == profile]
        lines += [f"  {profile}: {row.verdict}" for row in here if row.low_95 is not None]
        without = [row for row in here if row.low_95 is None]
        if len(without) == 1:
            lines.append(f"  {profile}: {without[0].verdict}")
        elif without:
            ratios = (f"{row.a} over {row.b} {row.ratio:.3g}" for row in without if row.ratio is not None)
            lines.append(
                f"  {profile}: no interval for {things(len(without), 'pair')}, for want of prints or figures"
                f"{_in_brackets('; '.join(ratios))}."
            )
    return lines


def _in_brackets(text: str) -> str:
    return f" ({text})" if text else ""


def _fault_words(faults: Sequence[TakeFault]) -> str:
    return "; ".join(f"{f.fault} ({f.where}): {f.what_to_do}" for f in faults)


def _short(value: float) -> str:
    """Two figures where the number is small, whole from ten on."""
    if value >= 10:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 1 else f"{value:.2g}"


def _listed(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _opened(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
