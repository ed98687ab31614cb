"""The sentence that a report opens with, and the sentences beside its charts: from differences and ranking alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Difference, Findings, RankingRow
from frusta.campaign.package import Package
from frusta.campaign.sentences import amount, clear_sentence, in_times, times, unit
from frusta.publish.facts import band_of
from frusta.publish.groups import Group, Groups, profile_name
from frusta.publish.prints import GroupMean, counted, group_means
from frusta.publish.words import NBSP, band, count, interval, listed, quantity, sentence


def opening(findings: Findings, package: Package, groups: Groups) -> tuple[str, list[str]]:
    """Return the verdict and the sentences under it.

    Parameters
    ----------
    findings : Findings
        Of the campaign.
    package : Package
        Its tables.
    groups : Groups
        What is compared.

    Returns
    -------
    (str, list of str)
        One sentence or two that a stranger understands; then what qualifies them.
    """
    kept = counted(findings.readings)
    total = len(findings.readings)
    if not kept:
        if not total:
            return "There is no take that could be read.", [
                "Record some, or mend the faults below, then publish again."
            ]
        return (
            f"None of the {total} takes of this campaign can be used." if total > 1 else "The one take cannot be used.",
            ["What is wrong with each, and what to do, stands below."],
        )
    present = [g for g in groups.all if any(groups.of(r.material, r.recipe) is g for r in kept)]
    if len(present) < 2:
        return _alone(findings, package, groups, present)
    ranking = ranking_sentence(findings, package, groups)
    first = [name_of_row(r, groups) for r in findings.ranking if r.rank_low == 1]
    breakup = breakup_sentences(findings, package, groups, known_as=first[0] if len(first) == 1 and ranking else None)
    head = [ranking] if ranking else []
    head += breakup[:1]
    if not head:
        return f"{listed([g.name for g in present])} were compared.", ["No break-up was read: the reasons stand below."]
    return " ".join(head), breakup[1:]


def _alone(findings: Findings, package: Package, groups: Groups, present: Sequence[Group]) -> tuple[str, list[str]]:
    """One material only: what it does, and that nothing was compared."""
    name = present[0].name if present else "This cone"
    means = [m for m in group_means(findings.readings, groups, "breakup_hz") if m.mean is not None]
    under = [f"Only {name} was recorded: there is nothing to compare it with." if present else "Nothing was compared."]
    if not means:
        return f"{name} was measured; no break-up could be read.", under
    parts = [
        f"at {mean_words(m, 'Hz')}" + (f" as a {profile_name(m.profile, package)} cone" if m.profile else "")
        for m in means[:3]
    ]
    return f"{name} breaks up {listed(parts)}.", under


def mean_words(mean: GroupMean, unit_: str) -> str:
    """A group's mean with its interval, or with the reason why it has none."""
    if mean.mean is None:
        return mean.reason
    if mean.low is None or mean.high is None:
        return f"{quantity(mean.mean, unit_, trim=False)} ({'; '.join(p for p in (mean.reason, mean.gaps) if p)})"
    half = (mean.high - mean.low) / 2
    ends = interval(mean.low, mean.high, unit_, value=mean.mean)
    return f"{quantity(mean.mean, unit_, half_width=half)} ({'; '.join(p for p in (ends, mean.gaps) if p)})"


def ranking_sentence(findings: Findings, package: Package, groups: Groups) -> str:
    """Who comes first for the campaign's band, or who shares the first place; empty where nothing was ranked."""
    rows = [r for r in findings.ranking if r.rank_low is not None and r.rank_high is not None]
    if len(rows) < 2:
        return ""
    band_hz = band_of(package)
    where = f" for {band(*band_hz)}" if band_hz else ""
    first = [r for r in rows if r.rank_low == 1]
    names = [name_of_row(r, groups) for r in first]
    if len(first) == 1 and first[0].rank_high == 1:
        return f"Print it in {names[0]}: it comes first{where}."
    if len(first) == len(rows):
        return f"{listed(names)} cannot be told apart{where}: a tie."
    return f"{listed(names)} share the first place{where}: a tie."


def name_of_row(row: RankingRow, groups: Groups) -> str:
    """Name of a ranked group."""
    group = groups.of(row.material, row.recipe)
    return group.name if group is not None else row.material


def breakup_sentences(
    findings: Findings, package: Package, groups: Groups, *, known_as: str | None = None
) -> list[str]:
    """Who breaks up highest in which shape, against the next one: clear first, then ties, then without interval.

    Parameters
    ----------
    findings, package, groups
        The campaign.
    known_as : str or None
        Name that the sentence before has just told; it becomes "it".
    """
    said: list[_Said] = []
    for profile in dict.fromkeys(d.profile for d in findings.differences if d.figure == "breakup_hz"):
        pair = top_two(findings, groups, "breakup_hz", profile)
        if pair is not None:
            said.append(_Said(profile, *pair))
    if not said:
        return []
    said.sort(key=lambda s: 0 if is_clear(s.row) else (1 if s.row.low_95 is not None else 2))
    first, rest = said[0], said[1:]
    best = "It" if first.best == known_as else first.best
    shape = profile_name(first.profile, package)
    if rest and all(is_clear(s.row) and s.best == first.best for s in said):
        head = (
            f"{best} breaks up highest in every shape: as {article(shape)} {shape} cone {_by(first, groups)} higher "
            f"than the next, {first.following}{_ends(first.row)}."
        )
        alike = [
            f"as {article(n)} {n} cone {_by(s, groups)} higher than {s.following}{_ends(s.row)}"
            for s in rest
            if (n := profile_name(s.profile, package))
        ]
        return [head, f"And {'; '.join(alike)}."]
    several = len({d.profile for d in findings.differences}) > 1
    known = [s for s in said if s.row.low_95 is not None]
    lines = [_one_shape(s, package, groups, several, known_as if s is first else None) for s in known]
    without = said[len(known) :]
    if len(without) == 1:
        return [*lines, _one_shape(without[0], package, groups, several, known_as if not known else None)]
    return lines + (_as_printed(without, package, groups) if without else [])


def _as_printed(said: Sequence[_Said], package: Package, groups: Groups) -> list[str]:
    """Shapes without an interval: who breaks up highest in each, then once why there is no interval."""
    bests = list(dict.fromkeys(s.best for s in said))
    parts = []
    for best in bests:
        shapes = [
            f"as {article(name)} {name} cone ({_by(s, groups)} above {s.following})"
            for s in said
            if s.best == best and (name := profile_name(s.profile, package))
        ]
        parts.append(f"{best} breaks up highest {listed(shapes)}")
    reasons = list(dict.fromkeys(_cut(s.row.reasons.get("low_95", "no interval")) for s in said))
    why = reasons[0] if len(reasons) == 1 else "too few prints for an interval"
    return [f"As printed here, {'; '.join(parts)}.", f"{why[:1].upper()}{why[1:]}, so other prints may say otherwise."]


@dataclass(frozen=True)
class _Said:
    """The two that break up highest in a profile."""

    profile: str
    best: str
    following: str
    row: Difference


def _one_shape(said: _Said, package: Package, groups: Groups, tell_shape: bool, known_as: str | None) -> str:
    shape = profile_name(said.profile, package)
    where = f"As {article(shape)} {shape} cone, " if tell_shape else ""
    row, following = said.row, said.following
    best = said.best if said.best != known_as else ("it" if where else "It")
    if is_clear(row):
        return f"{where}{best} breaks up {_by(said, groups)} higher than the next, {following}{_ends(row)}."
    if row.low_95 is not None:
        return f"{where}{said.best} and {following} cannot be told apart by where they break up: a tie{_ends(row)}."
    why = row.reasons.get("low_95", "no interval")
    return f"{where}{best} breaks up {_by(said, groups)} higher than {following}, as printed here ({_cut(why)})."


def best_known(findings: Findings, figure: str, profiles: Sequence[str]) -> str:
    """The profile in which a figure's differences have the most intervals; the first of those."""
    known = {p: sum(d.figure == figure and d.profile == p and d.low_95 is not None for d in findings.differences)
             for p in profiles}  # fmt: skip
    return max(profiles, key=lambda p: known[p]) if profiles else ""


def article(word: str) -> str:
    """The indefinite article of a word."""
    return "an" if word[:1] in "aeiou" else "a"


def _cut(reason: str) -> str:
    return reason.split(". ")[0]


def _ratio_of(row: Difference, groups: Groups, best: str) -> float:
    ratio = row.ratio or 1.0
    return ratio if groups.name_of(row.a) == best else 1 / ratio


def _by(said: _Said, groups: Groups) -> str:
    return f"{_digits(100 * (_ratio_of(said.row, groups, said.best) - 1), said.row)}{NBSP}%"


def _digits(change: float, row: Difference) -> str:
    ends = [abs(100 * (e - 1)) for e in (row.low_95, row.high_95) if e is not None]
    return f"{change:.0f}" if (min(ends) if ends else change) >= 9.5 else f"{change:.1f}"


def _ends(row: Difference) -> str:
    """Interval of a difference by which the first named is higher, in brackets."""
    if row.low_95 is None or row.high_95 is None or row.ratio is None:
        return ""
    low, high = (row.low_95, row.high_95) if row.ratio >= 1 else (1 / row.high_95, 1 / row.low_95)
    if low < 1:
        figure = FIGURE[row.figure]
        digits = 0 if max(abs(low - 1), abs(high - 1)) >= 0.095 else 1
        return f" (−{abs(100 * (low - 1)):.{digits}f} to +{100 * (high - 1):.{digits}f}{NBSP}{unit(figure)})"
    digits = 0 if 100 * (low - 1) >= 9.5 else 1
    return f" ({100 * (low - 1):.{digits}f} to {100 * (high - 1):.{digits}f}{NBSP}%)"


def top_two(findings: Findings, groups: Groups, figure: str, profile: str) -> tuple[str, str, Difference] | None:
    """Names of the highest and the next group by a figure in a profile, with their difference."""
    means = [m for m in group_means(findings.readings, groups, figure) if m.profile == profile and m.mean is not None]
    means.sort(key=lambda m: -(m.mean or 0.0))
    if len(means) < 2:
        return None
    row = difference_of(findings, groups, figure, profile, means[0].group, means[1].group)
    return None if row is None or row.ratio is None else (means[0].group.name, means[1].group.name, row)


def difference_of(
    findings: Findings, groups: Groups, figure: str, profile: str, first: Group, second: Group
) -> Difference | None:
    """The difference of two groups, whichever stands first in its row."""
    for row in findings.differences:
        if row.figure == figure and row.profile == profile:
            pair = {id(groups.of_key(row.a)), id(groups.of_key(row.b))}
            if pair == {id(first), id(second)}:
                return row
    return None


def is_clear(row: Difference) -> bool:
    """Whether a difference stands outside of its interval."""
    return row.low_95 is not None and row.high_95 is not None and not row.low_95 <= 1 <= row.high_95


def extremes_sentence(
    findings: Findings, groups: Groups, figure: str, profile: str, *, lowest_first: bool = False
) -> list[str]:
    """Say how the ends of a figure's order compare in one profile: clear or a tie, in the words of the findings.

    Returns
    -------
    list of str
        The difference between the highest and the lowest group; where that is clear, how many pairs are ties.
    """
    means = [m for m in group_means(findings.readings, groups, figure) if m.profile == profile and m.mean is not None]
    means.sort(key=lambda m: m.mean or 0.0)
    if len(means) < 2:
        return []
    ends = (means[0], means[-1]) if lowest_first else (means[-1], means[0])
    row = difference_of(findings, groups, figure, profile, ends[0].group, ends[1].group)
    if row is None:
        return []
    lines = [in_favour_of(row, groups, ends[0].group)]
    others = [d for d in findings.differences if d.figure == figure and d.profile == profile and d is not row]
    ties = [d for d in others if d.low_95 is not None and not is_clear(d)]
    if is_clear(row) and ties:
        pairs = [f"{groups.name_of(d.a)} and {groups.name_of(d.b)}" for d in ties]
        if len(pairs) <= 2:
            lines.append(
                f"{pairs[0]} cannot be told apart."
                if len(pairs) == 1
                else f"{pairs[0]} cannot be told apart, nor can {pairs[1]}."
            )
        else:
            lines.append(f"{count(len(pairs), 'pair').capitalize()} of the others cannot be told apart.")
    return lines


def in_favour_of(row: Difference, groups: Groups, first: Group) -> str:
    """The sentence of a difference, told from the side of ``first`` where it is clear."""
    if row.low_95 is None:
        return sentence(_cut(row.verdict))
    if not is_clear(row) or row.ratio is None or row.high_95 is None:
        return row.verdict
    figure = FIGURE[row.figure]
    a, b = groups.name_of(row.a), groups.name_of(row.b)
    gap, low, high = (math.log(v) for v in (row.ratio, row.low_95, row.high_95))
    if groups.of_key(row.a) is not first:
        a, b, gap, low, high = b, a, -gap, -high, -low
    return clear_sentence(figure, a, b, gap, low, high)


def band_sentences(findings: Findings, package: Package, groups: Groups, profile: str) -> list[str]:
    """Who breaks up inside the campaign's band and who stays clear of it, in one profile."""
    band_hz = band_of(package)
    if band_hz is None:
        return []
    inside: list[str] = []
    clear: list[str] = []
    open_: list[str] = []
    known = False
    for mean in group_means(findings.readings, groups, "breakup_hz"):
        if mean.profile != profile or mean.mean is None:
            continue
        low, high = (mean.low, mean.high) if mean.low is not None and mean.high is not None else (None, None)
        if low is None or high is None:
            (inside if mean.mean < band_hz[1] else clear).append(mean.group.name)
            continue
        known = True
        if high < band_hz[1]:
            inside.append(mean.group.name)
        elif low > band_hz[1]:
            clear.append(mean.group.name)
        else:
            open_.append(mean.group.name)
    lines = []
    if inside:
        verb = "breaks" if len(inside) == 1 else "break"
        here = "" if known else "As printed here, "
        lines.append(
            f"{here}{listed(inside)} {verb} up inside the band. An equaliser can lower the peak, not the ringing."
        )
    if clear:
        here = "" if known or inside else "As printed here, "
        lines.append(f"{here}{listed(clear)} {'stays' if len(clear) == 1 else 'stay'} clear of the band.")
    if open_:
        lines.append(f"Whether {listed(open_)} {'breaks' if len(open_) == 1 else 'break'} up inside it stays open.")
    return lines


def signed_amount(row: Difference) -> tuple[str, str]:
    """Size of a difference and its interval, in percent or dB, for a table."""
    figure = FIGURE[row.figure]
    if row.ratio is None:
        return row.reasons.get("ratio", "not read"), ""

    ratios = [math.log(v) for v in (row.ratio, row.low_95, row.high_95) if v]
    many = in_times(figure, *ratios)

    def show(ratio: float) -> str:
        if many:
            return times(math.log(ratio))
        value = amount(figure, math.log(ratio))
        return f"{'−' if value < 0 else '+'}{abs(value):.1f}"

    said = "times" if many else unit(figure)
    middle = f"{show(row.ratio)}{NBSP}{said}"
    if row.low_95 is None or row.high_95 is None:
        return middle, row.reasons.get("low_95", "no interval")
    return middle, f"{show(row.low_95)} to {show(row.high_95)}{NBSP}{said}"
