"""The maker's own music through two cones: files of equal loudness, and a blind test on a page of its own."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup
from numpy.typing import NDArray
from scipy.stats import binom

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings, Reading
from frusta.errors import PackageError, ParameterError
from frusta.publish import render
from frusta.signal.listening import Matched, free_impulse, match_loudness, played_through, sixteen_bits

Floats = NDArray[np.float64]

TRIALS = 16
"""Fixed beforehand: who stops when it looks good fools himself."""

SURE = 0.05
PAGE = "listen.html"
FOLDER = "sound"
LONGEST_S = 60.0


@dataclass(frozen=True)
class Listening:
    """What is to be listened to.

    Parameters
    ----------
    music : Path
        WAV or FLAC, one or two channels.
    cones : tuple of str
        Two specimens.
    start_s, length_s : float
        The stretch of the music.
    """

    music: Path
    cones: tuple[str, str]
    start_s: float = 0.0
    length_s: float = 20.0


def write_listening(
    folder: Path, wanted: Listening, findings: Findings, curves: Mapping[str, TakeCurves]
) -> list[tuple[str, str]]:
    """Write two sound files and the page of the blind test into a report's folder.

    Parameters
    ----------
    folder : Path
        Of the report; ``sound/`` and ``listen.html`` come into it.
    wanted : Listening
    findings, curves
        Of the analysis.

    Returns
    -------
    list of (str, str)
        Each file and what it is.

    Raises
    ------
    PackageError
        If the music cannot be read.
    ParameterError
        If a cone has no take with a reflection-free part, or the stretch is not there or silent.
    """
    takes = [best_take(name, findings, curves) for name in wanted.cones]
    music, rate = read_stretch(wanted)
    heard = [_through(music, rate, curves[take.take]) for take in takes]
    made = match_loudness(heard[0], heard[1], rate)
    (folder / FOLDER).mkdir()
    files = []
    for letter, name, piece in zip("AB", wanted.cones, (made.a, made.b), strict=True):
        place = f"{FOLDER}/{letter}-{name}.wav"
        soundfile.write(folder / place, piece, rate, subtype="PCM_24", format="WAV")
        files.append((place, f"your music as {name} plays it, {made.loudness_lkfs:.1f} LKFS"))
    page = _page(wanted, takes, [curves[take.take] for take in takes], made, rate)
    (folder / PAGE).write_bytes(page.encode("utf-8"))
    return [(PAGE, f"a blind test: can you hear {wanted.cones[0]} from {wanted.cones[1]}?"), *files]


def best_take(specimen: str, findings: Findings, curves: Mapping[str, TakeCurves]) -> Reading:
    """Return the take to hear a specimen through: not one to repeat, the least noisy.

    Raises
    ------
    ParameterError
        If it has none with a reflection-free part.
    """
    found = [
        r
        for r in findings.readings
        if r.specimen == specimen
        and r.quality != "repeat"
        and r.take in curves
        and curves[r.take].impulse.size
        and np.isfinite(curves[r.take].reflection_free_s)
    ]
    if not found:
        names = ", ".join(dict.fromkeys(r.specimen for r in findings.readings)) or "none"
        raise ParameterError(
            f"--cones must name two specimens with a good take (got {specimen!r}; recorded are: {names}); name another"
        )
    return max(found, key=lambda r: (r.quality == "ok", r.snr_db or 0.0, r.take))


def read_stretch(wanted: Listening) -> tuple[Floats, int]:
    """Return the stretch of the music, shape (n, channels), and its rate.

    Raises
    ------
    PackageError
        If the file cannot be read.
    ParameterError
        If the stretch is not in it, or it has more than two channels.
    """
    if not (wanted.start_s >= 0.0 and 0.5 <= wanted.length_s <= LONGEST_S):
        raise ParameterError(
            f"the stretch must begin at 0 s or later and be 0.5 to {LONGEST_S:g} s long (got {wanted.start_s:g} and "
            f"{wanted.length_s:g} s); choose --from and --seconds anew"
        )
    try:
        with soundfile.SoundFile(wanted.music) as file:
            rate, channels = file.samplerate, file.channels
            first = round(wanted.start_s * rate)
            if channels > 2 or file.frames - first < 0.5 * rate:
                raise ParameterError(
                    f"{wanted.music.name}: must have one or two channels and half a second after {wanted.start_s:g} s "
                    f"(it has {channels}, and {file.frames / rate:.1f} s in all); choose another stretch or file"
                )
            file.seek(first)
            samples = file.read(round(wanted.length_s * rate), dtype="float64", always_2d=True)
    except (OSError, soundfile.SoundFileError) as error:
        raise PackageError(f"{wanted.music}: must be music as WAV or FLAC ({error}); name another file") from error
    return samples, int(rate)


def verdicts(trials: int = TRIALS) -> list[str]:
    """Return what each number of right answers means, from none to all (binomial, one-sided).

    Examples
    --------
    >>> verdicts(16)[12]
    '12 of 16 right. Who only guesses gets as many in 3.8 of 100 tests: you hear a difference.'
    """
    words = []
    for right in range(trials + 1):
        chance = float(binom.sf(right - 1, trials, 0.5))
        first = f"{right} of {trials} right. Who only guesses gets as many in {_of_hundred(chance)} of 100 tests: "
        if chance <= SURE:
            words.append(first + "you hear a difference.")
        else:
            words.append(
                first + "that cannot be told from guessing. It does not show that there is nothing to hear; other "
                "music, or more tests decided on beforehand, might."
            )
    return words


def _of_hundred(chance: float) -> str:
    value = 100.0 * chance
    return f"{value:.0f}" if value >= 9.95 else f"{value:.1f}" if value >= 0.095 else "less than 0.1"


def _through(music: Floats, rate: int, curves: TakeCurves) -> Floats:
    kernel = free_impulse(
        curves.impulse, curves.impulse_before_s, curves.reflection_free_s, curves.sample_rate_hz
    )  # fmt: skip
    return played_through(music, rate, kernel, curves.sample_rate_hz)


def _page(wanted: Listening, takes: list[Reading], curves: list[TakeCurves], made: Matched, rate: int) -> str:
    from frusta.publish.report import policy

    free_s = min(c.reflection_free_s for c in curves)
    louder_db = made.gain_a_db - made.gain_b_db
    more = f"{wanted.cones[1] if louder_db > 0 else wanted.cones[0]} plays this music {abs(louder_db):.1f} dB louder"
    data = {
        "a": _base64(made.a, rate),
        "b": _base64(made.b, rate),
        "trials": TRIALS,
        "verdicts": verdicts(),
        "names": list(wanted.cones),
    }
    script = render.asset("assets/listen.js").decode("utf-8").strip()
    style = render.asset("assets/listen.css").decode("utf-8").strip()
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    template = environment.from_string(render.asset("templates/listen.html").decode("utf-8"))
    return template.render(
        cones=wanted.cones,
        takes=[take.take for take in takes],
        music=wanted.music.name,
        seconds=f"{len(made.a) / rate:.0f}",
        lkfs=f"{made.loudness_lkfs:.1f}",
        more=more,
        low_hz=f"{1.0 / free_s:.0f}",
        free_ms=f"{1e3 * free_s:.1f}",
        trials=TRIALS,
        data=Markup(json.dumps(data).replace("<", "\\u003c")),
        script=Markup(script),
        style=Markup(style),
        policy=policy(script, style),
    )


def _base64(piece: Floats, rate: int) -> str:
    held = io.BytesIO()
    soundfile.write(held, sixteen_bits(piece), rate, subtype="PCM_16", format="WAV")
    return base64.b64encode(held.getvalue()).decode("ascii")
