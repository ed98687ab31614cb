"""What to print next as JSON and as words."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from frusta.campaign.cone_answers import Answer
from frusta.campaign.counts import counted
from frusta.campaign.figures import FIGURE
from frusta.campaign.forecast_file import forecast_document
from frusta.campaign.most_informative import Narrowing, Suggestion
from frusta.campaign.next_print import NEW, NextPrint
from frusta.campaign.open_questions import FIGURE_WORDS
from frusta.campaign.search_ground import Existing
from frusta.cone.profile import ConeProfile
from frusta.design.goal import UNITS, Goal
from frusta.design.search import Trial, front
from frusta.version import __version__

FORMAT = 1
SHOWN, NARROWED, LISTED = 6, 3, 300
"""Suggestions told in words, narrowings told of each, and trials that the JSON lists."""
KEYS = {
    "piston limit": "piston_limit_hz",
    "upper limit": "upper_limit_hz",
    "evenness": "unevenness_in_band_db",
    "decay": "decay_2_percent_ms",
    "mass": "mass_g",
    "level": "level_db",
    "distortion": "input_thd_peak_percent",
}
"""Parts of a goal by the key of their figure."""
HEADS = {
    "piston limit": "piston, Hz",
    "upper limit": "upper, Hz",
    "evenness": "uneven, dB",
    "decay": "to 2 %, ms",
    "mass": "mass, g",
    "level": "level, dB",
    "distortion": "THD, %",
}
DIGITS = {"piston limit": 0, "upper limit": 0, "evenness": 1, "decay": 1, "mass": 1, "level": 1, "distortion": 2}
COUPON_WORDS = {
    "stick upright": "a stick (100 × 10 × 3 mm) of {}, printed upright and tapped",
    "stick flat": "a stick (100 × 10 × 3 mm) of {}, printed flat and tapped",
    "disc flat": "a disc (80 mm across, 2 mm thick) of {}, printed flat and tapped",
}


def next_document(told: NextPrint) -> dict[str, Any]:
    """Return what to print next as plain numbers and words.

    Parameters
    ----------
    told : NextPrint
    """
    return {
        "format": FORMAT,
        "campaign": told.campaign,
        "made_by": f"frusta {__version__}",
        "open": {
            "materials": {group: list(figures) for group, figures in told.open_figures.items()},
            "differences": [
                {"figure": g.figure, "profile": g.profile, "a": g.a, "b": g.b, "has_interval": g.reach is not None}
                for g in told.open_gaps
            ],
        },
        "suggestions": [_suggestion(s, told.names) for s in told.suggestions],
        "goal": None if told.goal is None else _goal(told.goal),
        "answers": [_answer(a, number, told) for number, a in enumerate(told.answers, 1)],
        "existing": [_existing(e, told.names) for e in told.existing],
        "tried": _tried(told),
        "said": list(told.said),
        "stopped": told.stopped,
        "reasons": dict(told.reasons),
    }


def next_json(document: Mapping[str, Any]) -> bytes:
    """Return the document as UTF-8 with one space of indent, lists of numbers on one line each."""
    text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
    return (re.sub(r"\[\s+((?:-?[0-9.e+-]+,?\s*)+)\]", lambda m: f"[{' '.join(m[1].split())}]", text) + "\n").encode()


def geometry(profile: ConeProfile) -> dict[str, Any]:
    """Return a drawing in the columns of profiles.csv."""
    return {
        "shape": profile.shape,
        **{
            f"{name}_mm": round(1e3 * getattr(profile, f"{name}_m"), 4)
            for name in ("neck_radius", "rim_radius", "depth", "bow", "wall")
        },
        "wall_rule": profile.wall_rule,
        "cap": profile.cap,
    }


def profiles_csv(told: NextPrint) -> str:
    """Return the answers as rows of profiles.csv, to be added to the campaign's."""
    rows = [{"profile": NEW.format(number), **geometry(a.trial.profile)} for number, a in enumerate(told.answers, 1)]
    if not rows:
        return ""
    return "\n".join([",".join(rows[0]), *(",".join(str(value) for value in row.values()) for row in rows)]) + "\n"


def _suggestion(s: Suggestion, names: Mapping[str, str]) -> dict[str, Any]:
    c = s.candidate
    return {
        "kind": c.kind,
        "group": c.group,
        "profile": c.profile,
        "specimen": c.specimen,
        "words": candidate_words(s, names),
        "bits": s.bits,
        "bits_materials": s.bits_materials,
        "bits_goal": s.bits_goal,
        "bits_differences": s.bits_differences,
        "prints": s.prints,
        "seatings": s.seatings,
        "coupons": s.coupons,
        "grams": s.grams,
        "narrows": [{**asdict(n), "words": narrowing_words(n)} for n in s.narrows],
    }


def _goal(goal: Goal) -> dict[str, Any]:
    return {
        "band_low_hz": goal.band_hz[0],
        "band_high_hz": goal.band_hz[1],
        "weights": {part: goal.weights[part] for part in goal.used},
        "fifty_points_at": {KEYS[part]: goal.halves[part] for part in goal.used},
    }


def _figures(trial: Trial) -> dict[str, Any]:
    return {KEYS[part]: value for part, value in trial.figures.items()}


def _answer(a: Answer, number: int, told: NextPrint) -> dict[str, Any]:
    ends = a.figures_95 or {}
    reasons = {} if a.told is not None else dict.fromkeys(("forecast", "score_95", "over_best"), "stopped before")
    if a.told is not None and a.over_best is None:
        reasons["over_best"] = "no cone exists to compare with"
    return {
        "answer": number,
        "best_at": a.label,
        "group": a.trial.key,
        "geometry": geometry(a.trial.profile),
        "score": a.trial.score,
        "score_95": None if a.score_95 is None else list(a.score_95),
        "figures": _figures(a.trial),
        "figures_95": {KEYS[part]: list(pair) for part, pair in ends.items()},
        "points": dict(a.trial.points),
        "over_best": None if a.over_best is None else asdict(a.over_best),
        "at_limits": list(a.at_limits),
        "forecast": None if a.told is None else forecast_document(a.told, NEW.format(number)),
        "reasons": reasons,
    }


def _existing(e: Existing, names: Mapping[str, str]) -> dict[str, Any]:
    return {
        "group": e.group,
        "name": names.get(e.group, e.group),
        "profile": e.profile_key,
        "score": e.trial.score,
        "figures": _figures(e.trial),
        "points": dict(e.trial.points),
    }


def _tried(told: NextPrint) -> dict[str, Any] | None:
    """The best trials in columns, with whether they are on the front."""
    if told.found is None or told.goal is None:
        return None
    best = told.found.trials[:LISTED]
    ahead = set(front(best, told.goal))
    parts = list(best[0].figures) if best else []
    return {
        "shapes": told.found.shapes,
        "cones": len(told.found.trials),
        "not_printable": told.found.unprintable,
        "group": [t.key for t in best],
        "score": [round(t.score, 3) for t in best],
        "on_front": [int(i in ahead) for i in range(len(best))],
        **{KEYS[part]: [round(t.figures[part], 4) for t in best] for part in parts},
    }


def candidate_words(s: Suggestion, names: Mapping[str, str]) -> str:
    """Return a candidate as a phrase: "another print of Heron in cv78"."""
    c = s.candidate
    name = names.get(c.group, c.group)
    if c.kind == "seating":
        return f"another seating of {c.specimen}"
    if c.kind != "print":
        return COUPON_WORDS[c.kind].format(name)
    word = "another print" if c.drawn is None else "a print"
    return f"{word} of {name} in {c.profile}"


def cost_words(s: Suggestion) -> str:
    """Return what a candidate costs: "1 print (4.6 g), 2 seatings"."""
    parts = []
    if s.prints:
        parts.append("1 print" if s.grams is None else f"1 print ({s.grams:.1f} g)")
    if s.coupons:
        parts.append("1 coupon, no coil, no seating")
    if s.seatings:
        parts.append(counted(s.seatings, "seating"))
    return ", ".join(parts)


def narrowing_words(n: Narrowing) -> str:
    """Return what becomes of a question as a phrase: "narrows layer shear of Heron from ±9 % to ±4 %"."""
    chance = ""
    if n.settles is not None:
        chance = "; told apart then " + ("hardly" if n.settles < HARDLY else f"with {_percent(n.settles)} probability")
    after = _half(n.after, n.unit)
    if n.before is None:
        return f"gives {n.of} its first interval, {after}{chance}"
    return f"narrows {n.of} from {_half(n.before, n.unit)} to {after}{chance}"


def _told(s: Suggestion) -> list[str]:
    """What a suggestion narrows: the most narrowed figures, and differences pair by pair."""
    single = [n for n in s.narrows if n.question != "difference"]
    lines = [narrowing_words(n) for n in single[:NARROWED]]
    pairs: dict[str, list[str]] = {}
    for n in s.narrows:
        if n.question == "difference":
            pairs.setdefault(n.pair, []).append(_gap_words(n))
    lines += [f"{pair}: {'; '.join(words)}" for pair, words in list(pairs.items())[:NARROWED]]
    more = max(len(single) - NARROWED, 0) + max(len(pairs) - NARROWED, 0)
    return [*lines, f"and {more} more"] if more else lines


def _gap_words(n: Narrowing) -> str:
    """A difference that is narrowed: "level ±1.2 to ±0.9 dB, told apart with 30 %"."""
    before = "" if n.before is None else f"±{n.before:.2g} to "
    chance = ""
    if n.settles is not None:
        chance = ", hardly told apart" if n.settles < HARDLY else f", told apart with {_percent(n.settles)}"
    return f"{FIGURE[n.key].name} {before}{_half(n.after, n.unit)}{chance}"


def _half(value: float | None, unit: str) -> str:
    if value is None:
        return "unknown"
    return f"±{value:.2g} {unit}" if value < 9.5 else f"±{value:.0f} {unit}"


def _percent(probability: float) -> str:
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def next_lines(told: NextPrint, width: int = 110) -> list[str]:
    """Return what to print next as lines of words.

    Parameters
    ----------
    told : NextPrint
    width : int
        Of a line, letters.
    """
    lines = [*_open_lines(told), "", *suggestion_lines(told), "", *_answer_lines(told)]
    out: list[str] = []
    table = set(table_lines(told))
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        out += [line] if len(line) <= width or line in table else textwrap.wrap(line, width, subsequent_indent=indent)
    return out


def _open_lines(told: NextPrint) -> list[str]:
    lines = ["What is open"]
    for group, figures in told.open_figures.items():
        if figures:
            words = ", ".join(FIGURE_WORDS[f] for f in figures)
            lines.append(f"  {told.names.get(group, group)}: {words}")
    if told.open_figures and not any(told.open_figures.values()):
        lines.append("  no figure of a material: all are known better than one print differs from the next")
    by_figure: dict[str, int] = {}
    for gap in told.open_gaps:
        by_figure[gap.figure] = by_figure.get(gap.figure, 0) + 1
    for key, count in by_figure.items():
        lines.append(f"  {counted(count, 'difference')} in {FIGURE[key].name} cannot be told")
    if "materials" in told.reasons:
        lines.append(f"  {told.reasons['materials']}")
    return lines


def suggestion_lines(told: NextPrint, shown: int = SHOWN) -> list[str]:
    """Return what would tell most as lines of words.

    Parameters
    ----------
    told : NextPrint
    shown : int
        How many suggestions.
    """
    lines = ["What would tell most (± is half of a 95 % interval; a bit halves one uncertainty)"]
    if not told.suggestions:
        return [*lines, f"  {told.reasons.get('suggestions', 'nothing can be weighed')}"]
    telling = [s for s in told.suggestions if s.narrows]
    if not telling:
        return [*lines, "  nothing that is open would be narrowed by one more print, seating or coupon"]
    for number, s in enumerate(telling[:shown], 1):
        lines.append(f"  {number}. {candidate_words(s, told.names)}: {s.bits:.1f} bits, for {cost_words(s)}")
        lines += [f"       {line}" for line in _told(s)]
    seated = next((s for s in told.suggestions if s.candidate.kind == "seating"), None)
    if seated is not None and seated not in telling[:shown]:
        what = narrowing_words(seated.narrows[0]) if seated.narrows else "which narrows nothing by a twentieth"
        lines.append(f"  Without printing: {candidate_words(seated, told.names)}, {what} ({seated.bits:.1f} bits)")
    return lines


def _answer_lines(told: NextPrint) -> list[str]:
    goal = told.goal
    if goal is None:
        return ["The best cone", f"  {told.reasons.get('answers', 'was not looked for')}"]
    weights = ", ".join(f"{part} {goal.weights[part]:g}" for part in goal.used)
    lines = [f"The best cone for {goal.band_hz[0]:g} to {goal.band_hz[1]:g} Hz (weights: {weights})"]
    if not told.answers:
        return [*lines, f"  {told.reasons.get('answers', 'nothing was found')}"]
    lines += ["", *table_lines(told)]
    lines.append("")
    for number, answer in enumerate(told.answers, 1):
        lines.append(f"  {number}. {told.names.get(answer.trial.key, answer.trial.key)}: {answer.label}")
        lines.append(f"       {shape_words(answer.trial.profile)}")
        if answer.over_best is not None and told.existing:
            lines.append(f"       {advantage_words(answer, told)}")
        if answer.at_limits:
            lines.append(f"       {', '.join(answer.at_limits)} allowed: more may lie beyond")
        if answer.told is not None and answer.told.printable.verdict != "yes":
            lines += [f"       {reason}" for reason in answer.told.printable.reasons]
    found = told.found
    if found is not None:
        lines.append("")
        count = f"{counted(len(found.trials), 'cone')} of {counted(found.shapes, 'shape')} computed"
        lines.append(f"  {count}; {found.unprintable} could not be printed" if found.unprintable else f"  {count}")
    if told.stopped:
        lines.append("  stopped before the end: this is the best found until then, without intervals")
    lines += [f"  {words}" for words in told.said]
    return lines


def table_lines(told: NextPrint) -> list[str]:
    """Return the answers and the best existing cone side by side, with the points of every part as bars."""
    goal = told.goal
    if goal is None:
        return []
    rows: list[tuple[str, Trial, tuple[float, float] | None]] = [
        (f"{number}. {told.names.get(a.trial.key, a.trial.key)}", a.trial, a.score_95)
        for number, a in enumerate(told.answers, 1)
    ]
    if told.existing:
        best = told.existing[0]
        rows.append((f"best now: {told.names.get(best.group, best.group)}, {best.profile_key}", best.trial, None))
    wide = max(len(name) for name, *_ in rows)
    used = [*goal.used, *(p for p in ("mass", "level") if p not in goal.used)]
    head = "  " + " " * wide + "  score (95 %)    " + "".join(f"  {HEADS[part]:<10}" for part in used)
    lines = [head]
    for name, trial, ends in rows:
        reach = "" if ends is None else f"({ends[0]:.1f} to {ends[1]:.1f})"
        cells = "".join(
            f"  {_cell(trial.figures[part], part, told.sweep_end_hz)}"
            f" {bar(trial.points[part]) if part in goal.used else '    '}"
            for part in used
        )
        lines.append(f"  {name:<{wide}}  {trial.score:4.1f} {reach:<14}{cells}")
    lines.append(f"  {'':<{wide}}  the bars are the points each figure earns, 0 to 100")
    return lines


def _cell(value: float, part: str, sweep_end_hz: float | None) -> str:
    """A figure five letters wide; a limit that the sweep does not reach is over its end."""
    if UNITS[part] != "Hz":
        return f"{value:>5.{DIGITS[part]}f}"
    over = sweep_end_hz is not None and value >= PAST * sweep_end_hz
    return f"{'>' if over else ''}{value / 1e3:.{1 if over else 2}f}k".rjust(5)


HARDLY = 0.05
PAST = 0.99
"""Of the sweep's end: from here on a limit was not reached."""


def bar(points: float) -> str:
    """Return points of 0 to 100 as a bar four letters wide."""
    eighths = round(points / 100.0 * 32)
    whole, part = divmod(eighths, 8)
    return ("█" * whole + (" ▏▎▍▌▋▊▉"[part] if part else "")).ljust(4, "·")[:4]


def shape_words(profile: ConeProfile) -> str:
    """Return a drawing as a phrase, mm."""
    bow = "" if profile.bow_m == 0.0 else f", bow {1e3 * profile.bow_m:+.1f}"
    across = "across" if profile.wall_rule == "line" else "along the normal"
    return (
        f"{profile.shape}: rim radius {1e3 * profile.rim_radius_m:.1f} mm, depth {1e3 * profile.depth_m:.1f}{bow}, "
        f"wall {1e3 * profile.wall_m:.2f} {across}"
    )


def advantage_words(answer: Answer, told: NextPrint) -> str:
    """Return how much better an answer is than the best existing cone, and how probably."""
    best = told.existing[0]
    gain = answer.over_best
    if gain is None:
        return ""
    changes = []
    for part in told.goal.used if told.goal else ():
        old, new = best.trial.figures[part], answer.trial.figures[part]
        if UNITS[part] == "dB":
            changes.append(f"{part} {new - old:+.1f} dB")
        elif abs(new / old - 1.0) >= 0.005:
            changes.append(f"{part} {100 * (new / old - 1.0):+.0f} %")
    return (
        f"{gain.points:+.1f} points over another {told.names.get(best.group, best.group)} in {best.profile_key} "
        f"({gain.low_95:+.1f} to {gain.high_95:+.1f}), better {_percent(gain.probability)} of the time: "
        + ", ".join(changes)
    )
