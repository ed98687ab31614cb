"""What the bench shows in a terminal: lines of text for a state, pure; readable without colour at 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from frusta.bench.levelling import LevelReading
from frusta.bench.live import Live
from frusta.bench.steps import State
from frusta.cli.big_letters import big

Weight = Literal["plain", "strong", "stop", "soft"]

STEPS = ("cone", "weigh", "seat", "level", "sweep", "verdict")
ORDERS = {
    "check first": "The check cone comes first: it shows what the rig does today.",
    "check last": "The check cone comes last: it shows whether the rig has drifted.",
    "cone": "The order is shuffled, so that a rig which drifts cannot pass for a better material.",
    "seating test": "The same cone again and again: that shows what a seating alone does.",
}
KEYS = {
    "cone": "Enter I have it   S not today   C choose another   A add one   E end today",
    "weigh": "0-9 . the mass   Enter write it (empty: none)   W with or without coil",
    "seat": "Enter it is on   S not today",
    "level": "Esc STOP   up/down 0.5 dB   A set it by itself",
    "sweep": "Esc STOP",
    "verdict": "Enter {advice}   K keep   R repeat   P pull off and seat again",
    "fault": "Enter go on",
    "done": "Enter leave   A add one   C choose another",
}


@dataclass(frozen=True)
class Line:
    """A line of the screen."""

    text: str
    weight: Weight = "plain"


@dataclass(frozen=True)
class Typed:
    """What the maker is typing.

    Parameters
    ----------
    asked : {"", "mass", "choose", "add"}
    text : str
    with_coil : bool
        Whether the mass is that of cone and coil.
    """

    asked: str = ""
    text: str = ""
    with_coil: bool = False


def screen(
    state: State,
    live: Live,
    typed: Typed | None = None,
    notice: str = "",
    width: int = 80,
    block: str = "█",
    height: int = 24,
) -> list[Line]:
    """Return the lines to show.

    Parameters
    ----------
    state : State
    live : Live
    typed : Typed, optional
    notice : str
        An answer to the last key.
    width, height : int
        Of the terminal.
    block : str
        What large letters are drawn with.
    """
    typed = typed or Typed()
    lines = [_headline(state), Line(_route(state), "soft"), Line("")]
    lines += _body(state, live, typed, width, block)
    foot = [Line("")]
    if typed.asked in ("choose", "add"):
        asked = "specimen" if typed.asked == "choose" else "new specimen, or: new-one like-this-one"
        foot.append(Line(f"{asked}: {typed.text}_", "strong"))
    if notice:
        foot += [Line(part, "strong") for part in textwrap.wrap(f"{notice[:1].upper()}{notice[1:]}", width)]
    foot += [Line(part, "stop" if _sounds(state, live) else "plain") for part in _keys(state, width)]
    return _fitted(lines, foot, height)


def _body(state: State, live: Live, typed: Typed, width: int, block: str) -> list[Line]:
    match state.step:
        case "cone":
            return _cone(state, width, block)
        case "weigh":
            return _weigh(state, typed, width, block)
        case "seat":
            return _seat(state, width, block)
        case "level":
            return _level(live, width, block)
        case "sweep":
            return _sweep(live, width, block)
        case "verdict":
            return _verdict(state, width, block)
        case "fault":
            return _fault(state, width, block)
        case _:
            return _done(state, width, block)


def _cone(state: State, width: int, block: str) -> list[Line]:
    turn = state.queue[0]
    lines = [*_large(turn.specimen, width, block), Line(""), Line(f"Fetch the cone marked {turn.specimen}.", "strong")]
    lines += _wrapped(ORDERS[turn.why], width)
    coming = ", ".join(t.specimen for t in state.queue[1:5])
    return [*lines, *_wrapped(f"After it: {coming}." if coming else "It is the last one.", width)]


def _weigh(state: State, typed: Typed, width: int, block: str) -> list[Line]:
    what = "with its coil" if typed.with_coil else "without its coil"
    shown = typed.text or "-"
    return [
        *_large(f"{shown} g", width, block),
        Line(""),
        Line(f"Weigh {state.queue[0].specimen} {what}, in grams: {shown}", "strong"),
    ]


def _seat(state: State, width: int, block: str) -> list[Line]:
    turn = state.queue[0]
    return [
        *_large("push on", width, block),
        Line(""),
        Line(f"Push {turn.specimen} on until it stops: seating {turn.seating}.", "strong"),
        *_wrapped("It must not rock. Turn its mark to the front, step back, keep quiet. Sound follows: first noise "
                  "that starts quietly, then the sweep. Esc stops it.", width),
    ]  # fmt: skip


def _level(live: Live, width: int, block: str) -> list[Line]:
    reading = live.level
    if reading is None:
        return [*_large("level", width, block), Line(""), Line("Noise begins quietly. Listening.", "strong")]
    order = reading.order
    lines = [*_large(order.replace(" dB", "").replace("on target, hold still", "hold"), width, block), Line("")]
    lines.append(Line(f"{order[:1].upper()}{order[1:]}.", "strong"))
    lines.append(Line(_needle(reading, width)))
    target = "no target: this level becomes it" if reading.deficit_db is None else (
        f"target {reading.level_db + reading.deficit_db:.1f} dB"
    )  # fmt: skip
    lines.append(Line(f"Now {reading.level_db:.1f} dB, {target}. Drive gain {live.gain_db:+.1f} dB."))
    if live.limited and (reading.deficit_db or 0.0) > 0.0:
        lines.append(Line("The stated limit is reached: turn the amplifier up, or lower --target.", "strong"))
    if reading.noise_db is not None and reading.noise_db < 20.0:
        lines.append(Line(f"The room is only {reading.noise_db:.0f} dB below the noise: find what hums."))
    return lines


def _needle(reading: LevelReading, width: int) -> str:
    """A scale of ±6 dB with the target in its middle."""
    half = min((width - 12) // 2, 30)
    if reading.deficit_db is None:
        return f"held {reading.steady_s:.1f} s"
    place = max(-half, min(half, round(-reading.deficit_db / 6.0 * half)))
    cells = ["-"] * (2 * half + 1)
    cells[half] = "|"
    cells[half + place] = "O"
    return f"-6 {''.join(cells)} +6 dB   {reading.steady_s:.1f} s"


def _sweep(live: Live, width: int, block: str) -> list[Line]:
    if live.sound == "countdown":
        left = f"{live.seconds_left:.0f}"
        return [*_large(left, width, block), Line(""), Line(f"Sweep in {left} s. Keep quiet.", "strong")]
    if live.sound == "reading":
        return [*_large("reading", width, block), Line(""), Line("The take is on the disk. Reading it.", "strong")]
    room = max(width - 30, 10)
    bar = "=" * round(live.progress * room)
    lines = [*_large(f"{live.seconds_left:.0f} s", width, block), Line("")]
    lines.append(Line(f"Recording. Keep quiet. {live.seconds_left:.0f} s left.", "strong"))
    lines.append(Line(f"[{bar:<{room}}] now {live.frequency_hz:.0f} Hz"))
    if live.peak_dbfs > -150.0:
        lines.append(Line(f"Loudest so far {-live.peak_dbfs:.0f} dB under clipping."))
    return lines


def _verdict(state: State, width: int, block: str) -> list[Line]:
    if state.take is None:
        return []
    verdict = state.take.verdict
    lines = [*_large(verdict.advice, width, block), Line("")]
    first, *rest = verdict.lines or ("",)
    lines += [Line(part, "strong") for part in textwrap.wrap(f"{first[:1].upper()}{first[1:]}.", width)]
    for text in rest:
        lines += _wrapped(f"{text[:1].upper()}{text[1:]}.", width)
    return [*lines, Line(f"Take {state.take.take}: on the disk whatever you decide.", "soft")]


def _fault(state: State, width: int, block: str) -> list[Line]:
    fault = state.fault
    if fault is None:
        return []
    lines = [*_large("stopped", width, block), Line("")]
    lines += [Line(part, "strong") for part in textwrap.wrap(fault.what, width)]
    lines += _wrapped(f"What to do: {fault.what_to_do}." if fault.what_to_do else "", width)
    return [*lines, Line("Nothing that was kept is lost.", "soft")]


def _done(state: State, width: int, block: str) -> list[Line]:
    kept, aside = len(state.kept), len(state.made) - len(state.kept)
    lines = [*_large("done", width, block), Line("")]
    lines.append(Line(f"{kept} take{'s' * (kept != 1)} kept, {aside} set aside.", "strong"))
    if state.skipped:
        names = ", ".join(dict.fromkeys(t.specimen for t in state.skipped if t.why == "cone"))
        lines += _wrapped(f"Another day: {names}." if names else "", width)
    return lines


def _headline(state: State) -> Line:
    turn = state.turn
    left = sum(t.why == "cone" for t in state.queue)
    where = f"{turn.specimen}, seating {turn.seating}" if turn else "sitting over"
    return Line(f"{where}   {len(state.kept)} kept, {left} to come   {state.session}", "strong")


def _route(state: State) -> str:
    """The steps in a row, the one at hand in brackets."""
    return "  ".join(f"[{step}]" if step == state.step else f" {step} " for step in STEPS)


def _keys(state: State, width: int) -> list[str]:
    advice = state.take.verdict.advice if state.take else ""
    text = KEYS[state.step].format(advice=advice)
    if state.step not in ("level", "sweep", "done"):
        text += "   U undo   Q leave"
    return _wrapped_keys(text.split("   "), width)


def _wrapped_keys(keys: Sequence[str], width: int) -> list[str]:
    """Keys in rows, none torn apart."""
    rows = [keys[0]]
    for key in keys[1:]:
        if len(rows[-1]) + 3 + len(key) <= width:
            rows[-1] += f"   {key}"
        else:
            rows.append(key)
    return rows


def _sounds(state: State, live: Live) -> bool:
    return state.step in ("level", "sweep") and live.sound in ("noise", "countdown", "sweep")


def _large(text: str, width: int, block: str) -> list[Line]:
    """Large letters, or the words in plain ones where they do not fit."""
    rows = big(text, width, block)
    return [Line(row, "strong") for row in rows] if rows else [Line(text.upper(), "strong")]


def _wrapped(text: str, width: int) -> list[Line]:
    return [Line(part) for part in textwrap.wrap(text, width)]


def _fitted(lines: Sequence[Line], foot: Sequence[Line], height: int) -> list[Line]:
    """Keep the foot on the screen, whatever the height: keys and stop are always to be seen."""
    room = max(height - len(foot), 1)
    return [*lines[:room], *foot]
