"""What stands beside the charts, all of it about the shape that is drawn large."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from frusta.campaign.counts import count_word
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish.drawings.drawing import Drawing
from frusta.publish.drawings.strips import STRIPS, means_table
from frusta.publish.groups import Groups, profile_name
from frusta.publish.prints import counted, group_means, profiles_of
from frusta.publish.verdict import article, band_sentences, best_known, extremes_sentence
from frusta.publish.words import NBSP, count, quantity, sentence


def beside_strips(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    """What stands over and under the first strips, and the table of all means."""
    profiles = profiles_of(findings, package)
    lines = [STRIPS[0].says]
    told = best_known(findings, "breakup_hz", profiles)
    for line in extremes_sentence(findings, groups, "breakup_hz", told)[:1]:
        shape = profile_name(told, package) if told and len(profiles) > 1 else ""
        lines.append(f"As {article(shape)} {shape} cone, {line}" if shape and not line.startswith("As ") else line)
    means = group_means(findings.readings, groups, "breakup_hz")
    with_interval = any(m.low is not None for m in means)
    seatings = {(r.specimen, r.seating) for r in counted(findings.readings)}
    prints = {r.specimen for r in counted(findings.readings)}
    caption = "Mark: one print" + (", the mean of its seatings." if len(seatings) > len(prints) else ".")
    if with_interval:
        caption += (
            " Line and bar: the material's mean and its 95 % interval, from the scatter of prints, each for itself. "
            "Whether two differ is told by their comparison, not by whether bars overlap."
        )
    if len(profiles) > 1:
        caption += " Equal lengths are equal percentages."
    table = means_table(findings, package, groups)
    return {"strips_lede": " ".join(lines), "strips_caption": caption, "means": table if table.rows else None}


def beside_curves(
    findings: Findings, package: Package, groups: Groups, places: Mapping[str, list[Drawing]]
) -> dict[str, Any]:
    """What stands beside the large charts, all of it about the shape that is drawn large."""
    profiles = profiles_of(findings, package)
    first = profiles[0] if profiles else ""
    response = band_sentences(findings, package, groups, first)
    response += extremes_sentence(findings, groups, "unevenness_common_db", first, lowest_first=True)
    scatter = next(
        (d.sd_print for d in findings.differences if d.figure == "breakup_hz" and d.sd_print is not None), None
    )
    if scatter is not None:
        response.append(f"Prints of one kind differ by ±{100 * scatter:.1f}{NBSP}% in break-up (1 sd).")
    distortion = _largest(findings, groups, first)
    distortion += hidden_by_noise(findings, groups, first)
    distortion += extremes_sentence(findings, groups, "input_thd_peak_percent", first, lowest_first=True)
    decay = extremes_sentence(findings, groups, "decay_2_percent_ms", first)
    perfect = [r.decay_bandlimit_ms for r in counted(findings.readings) if r.decay_bandlimit_ms is not None]
    if perfect:
        decay.append(f"A perfect cone would read {quantity(min(perfect), 'ms')} through the same filter.")
    nulls = [r for r in counted(findings.readings) if (r.profile or "") == first and r.decay_2_percent_ms is None]
    if nulls:
        why = nulls[0].reasons.get("decay_2_percent_ms", "no reason given")
        decay.append(f"{count(len(nulls), 'take').capitalize()} without a figure: {why}.")
    return {
        "response_says": [sentence(line) for line in response],
        "distortion_says": [sentence(line) for line in distortion],
        "decay_says": [sentence(line) for line in decay],
        "distortion_none": _why_none(findings, "input_thd_peak_percent", "No harmonics could be read")
        if not places["distortions"]
        else "",
        "decay_none": _why_none(findings, "decay_2_percent_ms", "No decay could be read")
        if not places["decays"]
        else "",
    }


def _largest(findings: Findings, groups: Groups, profile: str) -> list[str]:
    means = [
        m.mean
        for m in group_means(findings.readings, groups, "input_thd_peak_percent")
        if m.profile == profile and m.mean is not None
    ]
    ends = [quantity(float(f"{v:.2g}"), "%") for v in (min(means, default=0.0), max(means, default=0.0))]
    return (
        [f"The largest distortion is {ends[0].removesuffix(NBSP + '%')} to {ends[1]}, material by material"]
        if len(means) > 1
        else []
    )


def hidden_by_noise(findings: Findings, groups: Groups, profile: str) -> list[str]:
    """Say for which groups, or for how many of their takes, no distortion could be read."""
    lines = []
    for mean in group_means(findings.readings, groups, "input_thd_peak_percent"):
        if mean.profile == profile and mean.without:
            some = mean.takes - mean.without
            how = f"{count_word(some).capitalize()} of {count(mean.takes, 'take')}" if some else "No take"
            lines.append(f"{how} of {mean.group.name} {'give' if some > 1 else 'gives'} a figure")
    return lines


def _why_none(findings: Findings, key: str, head: str) -> str:
    reasons = [r.reasons[key] for r in counted(findings.readings) if key in r.reasons]
    if not reasons:
        return ""
    return sentence(f"{head}: {max(sorted(set(reasons)), key=reasons.count)}")
