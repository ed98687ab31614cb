"""The words and drawings of the report, section by section, ready for the template."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from frusta.campaign.curves import TakeCurves
from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import BlipRow, Findings
from frusta.campaign.package import Package
from frusta.campaign.sentences import loss_lines
from frusta.publish import drawings, facts
from frusta.publish.drawings import STRIPS, Drawing, StripFigure
from frusta.publish.gaps import gaps, unread
from frusta.publish.groups import Groups, profile_name
from frusta.publish.prints import counted, group_means
from frusta.publish.stays import stays_of_profiles
from frusta.publish.table import TableOf
from frusta.publish.verdict import (
    article,
    band_sentences,
    best_known,
    extremes_sentence,
    is_clear,
    name_of_row,
    opening,
    signed_amount,
)
from frusta.publish.words import NBSP, band, count, listed, plain, quantity, sentence

MOST_BLIPS = 40
RANKING_BARS = (
    "Bars: the 95 % interval of each score for itself. Places hold jointly at 95 %, so that they are wider than bars "
    "that just part."
)
SOURCES = (
    "Sweep and harmonics: A. Novak, P. Lotton, L. Simon, Synchronized swept-sine, J. Audio Eng. Soc. 63(10), 2015.",
    "Limits of the response after IEC 60268-5; scale of the charts after IEC 60263: 25 dB are as long as one decade.",
    "Resonances: R. Roy, T. Kailath, ESPRIT, IEEE Trans. Acoust. Speech Signal Process. 37(7), 1989.",
    "Differences: prints nest seatings, seatings nest takes; joint intervals after Tukey and Kramer, degrees of "
    "freedom after F. E. Satterthwaite, Biometrics Bull. 2, 1946.",
)


@dataclass(frozen=True)
class Report:
    """Everything that a report says, before it is drawn and written.

    Attributes
    ----------
    words : dict
        Values of the template that are words and tables.
    drawings : dict of str to list of Drawing
        By the template's name of the place.
    more_strips : list of (StripFigure, list of Drawing)
        Further figures, print by print.
    """

    words: dict[str, Any]
    drawings: dict[str, list[Drawing]]
    more_strips: list[tuple[StripFigure, list[Drawing]]]


def compose(findings: Findings, curves: Mapping[str, TakeCurves], package: Package) -> Report:
    """Compose a report from findings, curves and tables.

    Parameters
    ----------
    findings : Findings
        Of the campaign.
    curves : mapping of str to TakeCurves
        By take; takes without curves are not drawn.
    package : Package
        The campaign's tables.

    Returns
    -------
    Report
    """
    groups = Groups(findings.readings, package)
    places = {
        "strips": drawings.strip_drawings(findings, package, groups, STRIPS[0]),
        "responses": drawings.response_drawings(findings, package, curves, groups),
        "distortions": drawings.distortion_drawings(findings, package, curves, groups),
        "decays": drawings.decay_drawings(findings, package, curves, groups),
        "estimates": drawings.estimate_drawings(findings, groups),
    }
    ranking = drawings.ranking_drawing(findings, groups)
    places["ranking"] = [ranking] if ranking is not None and len(findings.ranking) > 1 else []
    more = [(f, drawn) for f in STRIPS[1:] if (drawn := drawings.strip_drawings(findings, package, groups, f))]
    words = {
        **_head(findings, package, groups),
        **_prints(findings, package, groups),
        **_ranking(findings, package, groups),
        **_beside_charts(findings, package, groups, places),
        **_differences(findings, package, groups),
        **_estimates(findings, package),
        **_faults(findings, package),
        **_conditions(findings, package),
        **_method(findings, package),
        "stays": stays_of_profiles(findings, curves, package, groups),
        "drivers": _drivers(findings, package),
        "gaps": gaps(findings, package, groups),
        "unread": _unread(findings),
        "blips": _blips(findings),
        "narrow_distortion": narrow_distortion_table(findings, package),
        "sources": SOURCES,
    }
    return Report(words, places, more)


def _head(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    verdict, under = opening(findings, package, groups)
    campaign = package.campaign
    return {
        "title": campaign.title,
        "campaign": campaign.campaign,
        "question": campaign.question or "",
        "notes": campaign.notes or "",
        "when": facts.session_span(facts.used_sessions(findings, package)),
        "verdict": verdict,
        "under": under,
        "facts": facts.key_facts(findings, package),
    }


def _prints(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    profiles = drawings.profiles_of(findings, package)
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
    table = drawings.means_table(findings, package, groups)
    return {"strips_lede": " ".join(lines), "strips_caption": caption, "means": table if table.rows else None}


def _ranking(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    ties = any(r.rank_low != r.rank_high for r in findings.ranking)
    band_hz = facts.band_of(package)
    title = "Ranking for this band" if band_hz else "Ranking"
    first = [r for r in findings.ranking if r.rank_low == 1]
    lede = ""
    if len(first) > 1:
        lede = f"{listed([name_of_row(r, groups) for r in first])} share the first place: their scores overlap."
    elif first and first[0].rank_high == 1 and len(findings.ranking) > 1:
        lede = f"{name_of_row(first[0], groups)} stands first, clear of the others."
    best = max(findings.ranking, key=lambda r: r.probability_best or 0.0, default=None)
    if best is not None and best.probability_best is not None:
        chance = "more than 99" if best.probability_best > 0.99 else plain(100 * best.probability_best, 0)
        lede += f" {name_of_row(best, groups)} is the best with a probability of {chance}{NBSP}%, by these weights."
    if any(r.rank_low is None for r in findings.ranking):
        why = next((r.reasons["rank_low"] for r in findings.ranking if "rank_low" in r.reasons), "")
        lede = f"No place is given: {why}." if why else "No place is given."
    caption = " ".join(
        p
        for p in (
            drawings.weights_words(findings),
            RANKING_BARS if any(r.score_low is not None for r in findings.ranking) else "",
            even_weights_words(findings, groups),
        )
        if p
    )
    return {
        "ranking_title": title + (", ties and all" if ties else ""),
        "ranking_lede": lede,
        "ranking_caption": caption,
    }


def even_weights_words(findings: Findings, groups: Groups) -> str:
    """What becomes of the order when every part weighs the same; empty where parts are missing."""
    scores = []
    for row in findings.ranking:
        points = [p.points for p in row.parts if p.weight]
        if not points or None in points:
            return ""
        scores.append((sum(p for p in points if p is not None) / len(points), row))
    if len(scores) < 2 or len({len(row.parts) for _, row in scores}) != 1:
        return ""
    ordered = [row for _, row in sorted(scores, key=lambda s: -s[0])]
    given = sorted(findings.ranking, key=lambda r: -(r.score or 0.0))
    if ordered == given:
        return "With all parts weighing the same the order stays."
    if ordered[0] is given[0]:
        return "With all parts weighing the same the first place stays and the order behind it changes."
    return f"With all parts weighing the same {name_of_row(ordered[0], groups)} would come first: mind the weights."


def _beside_charts(
    findings: Findings, package: Package, groups: Groups, places: Mapping[str, list[Drawing]]
) -> dict[str, Any]:
    """What stands beside the large charts, all of it about the shape that is drawn large."""
    profiles = drawings.profiles_of(findings, package)
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
            how = f"{count(some, '', '').strip().capitalize()} of {count(mean.takes, 'take')}" if some else "No take"
            lines.append(f"{how} of {mean.group.name} {'give' if some > 1 else 'gives'} a figure")
    return lines


def _blips(findings: Findings) -> TableOf | None:
    """Narrow features below break-up, the largest first, with the test that tells their causes apart."""
    quality = {r.take: r.quality for r in findings.readings}
    linear = [b for b in findings.blips if b.harmonic is None and quality.get(b.take) != "repeat"]
    rows = sorted(linear, key=lambda b: -abs(b.height_db))
    if not rows:
        return None
    return TableOf(
        ["Take", "Frequency", "Height", "May be", "Test"],
        [
            [
                b.take,
                quantity(b.frequency_hz, "Hz", trim=False),
                f"{plain(b.height_db, 1)}{NBSP}dB",
                listed(list(b.candidates), last="or") or b.reasons.get("candidates", "unknown"),
                b.test or b.reasons.get("test", "none known"),
            ]
            for b in rows[:MOST_BLIPS]
        ],
    )


def narrow_distortion_table(findings: Findings, package: Package) -> TableOf | None:
    """Narrow distortion below break-up, one row for what every take of a print shows alike; the cone's own first."""
    reading = {r.take: r for r in findings.readings if r.quality != "repeat"}
    alike: dict[tuple[str, int | None, str], list[BlipRow]] = {}
    for b in findings.blips:
        if b.harmonic is not None and b.take in reading and b.candidates:
            words = b.candidates[0].rpartition(": ")[0]
            cause = "landing" if "landing on" in words else words
            at = 12 * math.log2(b.frequency_hz / 1000)
            alike.setdefault((reading[b.take].specimen, b.harmonic, f"{cause} {round(at)}"), []).append(b)
    if not alike:
        return None
    order = sorted(alike.items(), key=lambda kept: ("landing" in kept[0][2], -max(b.height_db for b in kept[1])))
    rows = []
    for (specimen, harmonic, _), held in order[:MOST_BLIPS]:
        tallest = max(held, key=lambda b: b.height_db)
        rows.append(
            [
                specimen,
                quantity(tallest.frequency_hz, "Hz", trim=False),
                str(harmonic),
                f"{plain(tallest.height_db, 1)}{NBSP}dB",
                str(len(held)),
                listed(list(tallest.candidates), last="or"),
                tallest.test or "none known",
            ]
        )
    return TableOf(["Print", "Driven at", "Order", "Stands out by", "Takes", "May be", "Test"], rows)


def _why_none(findings: Findings, key: str, head: str) -> str:
    reasons = [r.reasons[key] for r in counted(findings.readings) if key in r.reasons]
    if not reasons:
        return ""
    return sentence(f"{head}: {max(sorted(set(reasons)), key=reasons.count)}")


def _differences(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    rows = []
    for d in findings.differences:
        size, ends = signed_amount(d)
        word = "clear" if is_clear(d) else ("tie" if d.low_95 is not None else "no interval")
        name = FIGURE[d.figure].name if d.figure in FIGURE else d.figure
        prints = f"{d.prints_a} and {d.prints_b}"
        rows.append(
            [
                profile_name(d.profile, package),
                name,
                f"{groups.name_of(d.a)} against {groups.name_of(d.b)}",
                size,
                ends,
                word,
                prints,
                d.verdict,
            ]
        )
    if not rows:
        return {"differences": None, "differences_lede": ""}
    words = [row[5] for row in rows]
    clear, ties, without = (words.count(w) for w in ("clear", "tie", "no interval"))
    parts = [f"{clear} of {len(rows)} comparisons are clear", f"{ties} are ties"]
    if without:
        parts.append(f"{without} have no interval")
    if without == len(rows):
        lede = f"None of the {len(rows)} comparisons has an interval: {_common_reason(findings)}."
        head = ["Shape", "Figure", "Compared", "Difference", "95 % interval", "Verdict", "Prints", "In words"]
        return {"differences": TableOf(head, rows), "differences_lede": lede}
    lede = (
        f"{listed(parts)}. Intervals of one figure in one shape hold jointly at 95{NBSP}%; "
        "prints are counted, never takes."
    )
    head = ["Shape", "Figure", "Compared", "Difference", "95 % interval", "Verdict", "Prints", "In words"]
    return {"differences": TableOf(head, rows), "differences_lede": lede}


def _common_reason(findings: Findings) -> str:
    reasons = [d.reasons["low_95"].split(": ")[0] for d in findings.differences if "low_95" in d.reasons]
    return max(sorted(set(reasons)), key=reasons.count) if reasons else "no reason given"


def _estimates(findings: Findings, package: Package) -> dict[str, Any]:
    fits = [e.chi_square for e in findings.estimates if e.chi_square is not None]
    fit = f"Chi-square per degree of freedom: {listed([f'{v:.2g}' for v in fits])}." if fits else ""
    lede = (
        "Estimated from the resonances of the cones, after shape, air, joint and motor are accounted for. "
        f"Bars and ±: 95{NBSP}%."
    )
    polymers = {key: row.polymer for key, row in package.materials.items()}
    return {"estimates_lede": lede, "estimates_fit": fit, "estimates_loss": loss_lines(findings.estimates, polymers)}


@dataclass(frozen=True)
class FaultWords:
    """A fault in words: who, what, where, what to do; look if the take still counts."""

    who: str
    what: str
    where: str
    do: str
    look: bool


def _faults(findings: Findings, package: Package) -> dict[str, Any]:
    quality = {r.take: r.quality for r in findings.readings}
    rows = []
    for f in findings.faults:
        place = f"row {f.row}" if f.row is not None and f.take is None else ""
        place = ", ".join(p for p in (place, f"column {f.column}" if f.column and f.take is None else "", f.where) if p)
        who = f.take or (f"{f.table}.csv" if f.table else "package")
        rows.append(
            FaultWords(who, f.fault, place.rstrip("."), sentence(f.what_to_do), quality.get(f.take or "") != "repeat")
        )
    told = {f.take for f in findings.faults}
    for r in findings.readings:
        if r.quality != "ok" and r.take not in told:
            rows += [
                FaultWords(r.take, f.fault, f.where.rstrip("."), sentence(f.what_to_do), r.quality != "repeat")
                for f in r.faults
            ]
    repeat = sum(r.quality == "repeat" for r in findings.readings)
    look = sum(r.quality == "look" for r in findings.readings)
    parts = []
    if repeat:
        parts.append(
            f"{count(repeat, 'take')} {'is' if repeat == 1 else 'are'} spoiled and left out of every comparison"
        )
    if look:
        parts.append(
            f"{count(look, 'take')} {'deserves a look but counts' if look == 1 else 'deserve a look but count'}"
        )
    lede = sentence(listed(parts)) if parts else "What is wrong in the tables, and what to do."
    return {"faults": rows, "faults_title": "Faulty takes" if repeat or look else "Faults", "faults_lede": lede}


def _conditions(findings: Findings, package: Package) -> dict[str, Any]:
    rows = []
    for s in facts.used_sessions(findings, package):
        rig = package.rigs.get(s.rig)
        takes = [package.takes[r.take] for r in findings.readings if r.session == s.session and r.take in package.takes]
        gains = sorted({t.drive_gain_db or 0.0 for t in takes})
        full_scale = s.full_scale_pa or (rig.full_scale_pa if rig else None)
        rows.append(
            [
                s.session,
                str(s.date),
                f"{plain(s.temperature_c, 1).removesuffix('.0')}{NBSP}°C"
                if s.temperature_c is not None
                else "not noted",
                f"{plain(s.humidity_pct, 0)}{NBSP}%" if s.humidity_pct is not None else "not noted",
                listed([f"{plain(g, 1)}{NBSP}dB" for g in gains]) or "no takes",
                f"{full_scale:g}{NBSP}Pa" if full_scale else "not known: levels are relative",
                f"{s.rig}: {facts.mounting_words(rig)}" if rig else s.rig,
                str(len(takes)),
            ]
        )
    spread = facts.check_spread_db(findings.readings)
    if spread is None:
        says = "No check cone was heard twice, so a drift of the rig between takes would not show."
    else:
        says = (
            f"The check cone, heard first and last, kept its level within {plain(max(spread, 0.1), 1)}{NBSP}dB over "
            "all sessions. Drift that it shows is taken out of the level differences."
        )
    head = ["Session", "Date", "Air", "Humidity", "Drive gain", "Full scale", "Rig", "Takes"]
    return {"sessions": TableOf(head, rows) if rows else None, "check_says": says}


def _method(findings: Findings, package: Package) -> dict[str, Any]:
    rigs = facts.used_rigs(findings, package)
    sweeps = facts.sweep_words(findings, package)
    kinds = {package.takes[r.take].recording_is or "sweep" for r in findings.readings if r.take in package.takes}
    done = [
        "One motor, one suspension and one microphone; each cone with its own voice coil, pushed on without glue."
        if len(rigs) < 2
        else f"{count(len(rigs), 'rig').capitalize()} were used; the table of conditions says which when."
    ]
    if rigs:
        done.append(
            f"Mounting and distance of the microphone: {listed([facts.mounting_words(r) for r in rigs])}, on axis."
        )
    if sweeps and "sweep" in kinds:
        done.append(f"Swept {listed(sweeps)}.")
    if "impulse" in kinds:
        done.append("Some takes are impulse responses made elsewhere; they give no harmonics.")
    clocks = [r for r in findings.readings if r.clock_ppm is not None]
    references = {bool(package.takes[r.take].reference_channel) for r in findings.readings if r.take in package.takes}
    read = [
        "What was played is divided out, "
        + (
            "by the recorded reference channel"
            if references == {True}
            else "by the sweep"
            if references == {False}
            else "by the reference channel where there is one, else by the sweep"
        )
        + ". The response is cut off before the first echo, so it lacks detail at low frequencies.",
        "Break-up is the lowest resonance above 1 kHz that stands out; resonances are fitted to the reflection-free "
        "response. Distortion counts orders 2 to 5 over the fundamental, only where they stand 10 dB over the noise; "
        "IEC 60268-5 divides by the total instead.",
        "Differences count prints, never takes.",
    ]
    if clocks:
        worst = max(clocks, key=lambda r: abs(r.clock_ppm or 0.0))
        read.append(f"Clock errors up to {plain(abs(worst.clock_ppm or 0.0), 0)}{NBSP}ppm were corrected.")
    calibrated = [bool(r.microphone_calibration) for r in rigs]
    cautions = []
    if not all(calibrated) or not calibrated:
        cautions.append(
            "Levels are as the microphone reads them: it has no calibration file. Comparisons between cones are not "
            "touched by that."
        )
    else:
        cautions.append("The microphone's calibration file was applied.")
    if facts.relative_levels(findings, package):
        cautions.append("Levels are relative; they compare within this campaign only.")
    cautions.append("These figures hold for this rig, mounting and distance. Another rig moves them.")
    snr = sorted(r.snr_db for r in counted(findings.readings) if r.snr_db is not None)
    if snr:
        cautions.append(f"Response over noise, median take: {plain(snr[len(snr) // 2], 0)}{NBSP}dB.")
    band_hz = facts.band_of(package)
    if band_hz:
        cautions.append(f"The ranking is for {band(*band_hz)}; another band may rank otherwise.")
    return {"done": done, "read": read, "cautions": cautions}


def _drivers(findings: Findings, package: Package) -> TableOf | None:
    """Finished drivers beside the cones' best and worst, where any was measured."""
    drivers = [r for r in findings.readings if r.kind == "driver" and r.quality != "repeat"]
    if not drivers:
        return None
    keys = (
        ("upper_limit_hz", "Upper limit", "Hz"),
        ("unevenness_db", "Unevenness, ±", "dB"),
        ("input_thd_peak_percent", "Input distortion", "%"),
        ("decay_2_percent_ms", "To 2 %", "ms"),
    )
    rows = []
    for specimen in dict.fromkeys(r.specimen for r in drivers):
        own = [r for r in drivers if r.specimen == specimen]
        note = package.specimens[specimen].notes if specimen in package.specimens else None
        rows.append([f"{specimen}: {note}" if note else specimen, *(_span_words(own, k, u) for k, _, u in keys)])
    rows.append(["All printed cones", *(_span_words(counted(findings.readings), k, u) for k, _, u in keys)])
    return TableOf(["Measured", *(name for _, name, _ in keys)], rows)


def _span_words(readings: list[Any], key: str, unit: str) -> str:
    values = sorted(v for r in readings if (v := getattr(r, key)) is not None)
    if not values:
        return next((r.reasons[key] for r in readings if key in r.reasons), "not read")
    low, high = quantity(values[0], unit), quantity(values[-1], unit)
    return low if low == high else f"{low} to {high}"


def _unread(findings: Findings) -> TableOf | None:
    rows = [[name, f"{without} of {total}", why] for name, without, total, why in unread(findings)]
    return TableOf(["Figure", "Takes without it", "Most frequent reason"], rows) if rows else None
