"""The plan of a campaign in words: what to print, in which order to seat it, how small a difference that can show."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from frusta.bench.events import Turn
from frusta.bench.sitting import check_cone, groups_to_seat, planned_turns, seatings_made
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.campaign.power import prints_needed, smallest_gap
from frusta.campaign.shelf.scatter_learned import LEAST_DEGREES, LearnedScatter
from frusta.errors import ParameterError

GUESSED_PRINT_PERCENT = 0.65
"""Standard deviation of break-up between prints of one spool, where nothing is known: wall and flow of a good printer
(a print of the simulated benches scatters so, and up to three times as much). A guess, and said to be one."""

GUESSED_SEATING_PERCENT = 0.4
MINUTES_A_SEATING = 4.0


@dataclass(frozen=True)
class Scatter:
    """What prints and seatings scatter by in break-up, %, and where that is from."""

    print_percent: float
    seating_percent: float
    source: str

    def of_mean_percent(self, seatings: int) -> float:
        """Return the standard deviation of a print's mean over its seatings."""
        return math.hypot(self.print_percent, self.seating_percent / math.sqrt(seatings))


@dataclass(frozen=True)
class Plan:
    """What `frusta plan` tells.

    Parameters
    ----------
    groups : mapping of str to sequence of str
        Specimens by what they are compared as.
    to_print : mapping of str to int
        Prints that are missing of each group.
    turns : tuple of Turn
        Still to come, in order, check cone left out.
    scatter : Scatter
    gaps : tuple of (str, float)
        By profile: the smallest difference in break-up, %, that the prints would show.
    lines : tuple of str
        All of it in words.
    """

    groups: Mapping[str, Sequence[str]]
    to_print: Mapping[str, int]
    turns: tuple[Turn, ...]
    scatter: Scatter
    gaps: tuple[tuple[str, float], ...]
    lines: tuple[str, ...]


def make_plan(
    package: Package,
    scatter: Scatter,
    *,
    prints: int | None = None,
    difference_percent: float | None = None,
    seatings: int = 2,
    seed: int = 1,
) -> Plan:
    """Return the plan of a package.

    Parameters
    ----------
    package : Package
    scatter : Scatter
        From `scatter_of_findings`, or a guess.
    prints : int, optional
        Prints wanted of each group; else what the wanted difference needs, else what there is.
    difference_percent : float, optional
        Smallest difference in break-up that is to be shown.
    seatings, seed : int
        Of the order.

    Raises
    ------
    ParameterError
        If a wanted figure is out of its range.
    """
    if difference_percent is not None and not 0.0 < difference_percent < 100.0:
        raise ParameterError(
            f"a difference must lie between 0 and 100 % (got {difference_percent:g}); 3 is a fair wish"
        )
    groups = groups_to_seat(package)
    cones = {name: names for name, names in groups.items() if "/" in name}
    sd = math.log1p(scatter.of_mean_percent(seatings) / 100.0)
    rivals = _rivals(package, cones)
    needed = None
    if difference_percent is not None:
        most = max((len(names) for names in rivals.values()), default=2)
        needed = prints_needed(math.log1p(difference_percent / 100.0), sd, max(most, 2))
    wanted = prints if prints is not None else needed
    to_print = {name: max(0, (wanted or 0) - len(names)) for name, names in cones.items()}
    gaps = []
    for profile, names in rivals.items():
        sizes = [max(len(cones[name]), wanted or 0) for name in names]
        mean = len(sizes) / sum(1.0 / size for size in sizes)
        if len(names) > 1 and mean > 1.0:
            gaps.append((profile, 100.0 * math.expm1(smallest_gap(mean, sd, len(names)))))
    turns = planned_turns(package, seatings, seed)
    lines = _lines(package, groups, cones, to_print, turns, scatter, gaps, difference_percent, needed, seatings)
    return Plan(groups, to_print, turns, scatter, tuple(gaps), tuple(lines))


def scatter_of_findings(findings: Findings) -> Scatter | None:
    """Return the scatter that an analysis found in break-up, or None if it found none."""
    rows = [d for d in findings.differences if d.figure == "breakup_hz" and d.sd_print is not None]
    if not rows:
        return None
    prints = max(float(d.sd_print or 0.0) for d in rows)
    seating = max((float(d.sd_seating) for d in rows if d.sd_seating is not None), default=0.0)
    return Scatter(100.0 * prints, 100.0 * seating, "this campaign's own recordings")


def scatter_of_shelf(learned: Mapping[str, LearnedScatter]) -> Scatter | None:
    """Return the scatter that a shelf has taught of break-up, or None if too few prints were repeated there.

    Parameters
    ----------
    learned : mapping of str to LearnedScatter
        See `frusta.campaign.shelf.scatter_learned.learn_scatter`.
    """
    found = learned.get("breakup_hz")
    if found is None or found.scatter.print_degrees < LEAST_DEGREES or not found.scatter.variance_print > 0.0:
        return None
    seated = found.scatter.variance_seating
    known = math.isfinite(seated)
    source = f"from {found.prints} prints on the shelf" + ("" if known else "; that between seatings is a guess")
    return Scatter(
        100.0 * math.sqrt(found.scatter.variance_print),
        100.0 * math.sqrt(seated) if known else GUESSED_SEATING_PERCENT,
        source,
    )


def _rivals(package: Package, cones: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    """Groups that are compared with one another: those of one profile."""
    rivals: dict[str, list[str]] = {}
    for name, names in cones.items():
        profile = package.specimens[names[0]].profile
        if profile is not None:
            rivals.setdefault(profile, []).append(name)
    return rivals


def _lines(
    package: Package,
    groups: Mapping[str, Sequence[str]],
    cones: Mapping[str, Sequence[str]],
    to_print: Mapping[str, int],
    turns: Sequence[Turn],
    scatter: Scatter,
    gaps: Sequence[tuple[str, float]],
    difference_percent: float | None,
    needed: int | None,
    seatings: int,
) -> list[str]:
    lines = ["What to print"]
    for name, names in cones.items():
        more = f"print {to_print[name]} more" if to_print[name] else "enough" if any(to_print.values()) else ""
        lines.append(f"  {name}: {len(names)} there{f', {more}' if more else ''}")
    if not cones:
        lines.append("  specimens.csv names no cone with a material yet")
    if len(groups) > len(cones):
        lines.append(f"  besides: {', '.join(n for n in groups if n not in cones)}")
    lines.append("")
    lines += _gap_lines(scatter, gaps, difference_percent, needed, seatings)
    lines.append("")
    lines.append("In which order to seat them (shuffled; a print of every group before the next of any)")
    check = check_cone(package)
    shown = [f"{t.specimen}, seating {t.seating}" for t in turns]
    if check and turns:
        made = seatings_made(package).get(check, 0)
        shown = [f"{check}, seating {made + 1} (check cone, first)", *shown, f"{check}, seating {made + 2} (last)"]
    lines += [f"  {number}. {text}" for number, text in enumerate(shown, start=1)]
    if not turns:
        lines.append("  nothing left: every planned seating is recorded")
    else:
        lines.append(f"  about {MINUTES_A_SEATING * len(shown):.0f} min at {MINUTES_A_SEATING:g} min a seating")
    if check is None:
        lines.append("  no check cone: mark one specimen's kind as check, else drift of the rig passes for material")
    return lines


def _gap_lines(
    scatter: Scatter,
    gaps: Sequence[tuple[str, float]],
    difference_percent: float | None,
    needed: int | None,
    seatings: int,
) -> list[str]:
    lines = ["How small a difference in break-up that shows (4 times in 5, jointly at 95 %)"]
    lines += [f"  {profile}: {gap:.1f} %" for profile, gap in gaps]
    if not gaps:
        lines.append("  none: it takes two groups of one profile with two prints each")
    lines.append(
        f"  from a scatter of {scatter.print_percent:.2g} % between prints and {scatter.seating_percent:.2g} % between "
        f"seatings, {seatings} seatings a print ({scatter.source})"
    )
    if difference_percent is not None:
        said = f"{needed} prints of each would" if needed is not None else "more than 99 prints would be needed"
        lines.append(f"  to show {difference_percent:g} %: {said}")
    return lines
