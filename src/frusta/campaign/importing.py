"""Recordings, sweeps and impulse responses made elsewhere become takes; nothing is guessed silently.

First a plan says, file by file, what was understood and from what, and what must be told; a plan without
open questions is then carried out. Files are copied byte for byte, nothing is written over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from frusta.campaign.datapackage import digest
from frusta.campaign.import_apply import apply_import
from frusta.campaign.import_plan import Choices, ImportItem, ImportPlan, Question
from frusta.campaign.package import Package, open_package
from frusta.campaign.recordings import Recording, open_recording
from frusta.campaign.rows import SLUG_PATTERN, SweepRow
from frusta.errors import PackageError, ParameterError
from frusta.signal.sweep import fit_sweep

__all__ = ["Choices", "ImportItem", "ImportPlan", "Question", "apply_import", "plan_import"]

LOUD_POWER = 1e-3
SHORTEST_SWEEP_S = 0.5
"""What stays within 30 dB of its loudest moment for less than this is a response or a tap: even a room needs
a reverberation time of one second to stay so long."""


@dataclass
class _Draft:
    """A row in the making."""

    recording: Recording
    row: dict[str, str]
    understood: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def know(self, column: str, value: object, because: str) -> None:
        self.row[column] = str(value)
        self.understood.append(f"{column} = {value}: {because}")

    def ask(self, column: str, text: str, option: str) -> None:
        self.questions.append(Question(column, text, option))


def plan_import(files: Sequence[Path | str], into: Path | str, choices: Choices | None = None) -> ImportPlan:
    """Look at files and say what would become of them; nothing is changed.

    Parameters
    ----------
    files : sequence of Path or str
        Recordings or impulse responses, WAV or FLAC.
    into : Path or str
        A package, as a folder.
    choices : Choices, optional
        What the user tells.

    Returns
    -------
    ImportPlan

    Raises
    ------
    PackageError
        If the package or a file cannot be used, or a choice names what is not there.
    """
    choices = choices or Choices()
    into = Path(into)
    if into.is_file():
        raise PackageError(f"{into}: must be a folder (it is a file); unpack the zip and name the folder")
    package = open_package(into)
    _refuse_unknown(package, choices)
    if not files and choices.signal is None:
        raise PackageError("import: must be given at least one file (got none); name the recordings")
    signal = _plan_signal(package, choices.signal) if choices.signal else None
    held = _held(package)
    taken = set(package.takes)
    seatings = {
        s: max((t.seating for t in package.takes.values() if t.specimen == s), default=0) for s in package.specimens
    }
    items: list[ImportItem] = []
    for file in files:
        item = _plan_file(package, Path(file), choices, signal, held, taken)
        items.append(item)
    return ImportPlan(package.root, tuple(_with_seatings(items, choices, seatings)), signal)


def slug_of(text: str) -> str:
    """Return a key made of any text.

    Examples
    --------
    >>> slug_of("Take 3 (PLA, left).final")
    'take-3-pla-left-.final'
    """
    slug = re.sub(r"[^a-z0-9._-]+", "-", text.lower()).strip("-._")[:64].strip("-._")
    return slug or "take"


def _refuse_unknown(package: Package, choices: Choices) -> None:
    """Refuse choices that name rows which are not there."""
    for column, table in (("specimen", "specimens"), ("session", "sessions"), ("rig", "rigs"), ("sweep", "sweeps")):
        key = getattr(choices, column)
        if key is not None and key not in getattr(package, table):
            raise PackageError(
                f"{column} must name a row of {table}.csv (got {key!r}, which is not there); add it there first"
            )
    if choices.sweep and choices.signal:
        raise PackageError(
            "sweep or signal must be given, not both; name the row of sweeps.csv or the file that was played"
        )
    if isinstance(choices.seating, int) and choices.seating < 0:
        raise PackageError(f"seating must be at least 0 (got {choices.seating}); count from 1 for each specimen")


def _held(package: Package) -> dict[tuple[int, str], str]:
    """Size and hash of every recording of the package, to its take."""
    found: dict[tuple[int, str], str] = {}
    for take in package.takes.values():
        try:
            path = package.path_of(take.recording)
        except PackageError:
            continue
        found[path.stat().st_size, digest(path)] = take.take
    return found


def _plan_signal(package: Package, file: Path) -> ImportItem:
    """A file that was played becomes a row of sweeps.csv."""
    recording = open_recording(file)
    for sweep in package.sweeps.values():
        if sweep.signal and digest(package.path_of(sweep.signal)) == digest(file):
            return ImportItem(file, sweep.signal, {"sweep": sweep.sweep}, already=sweep.sweep)
    key = _unused(slug_of(file.stem), set(package.sweeps))
    row = {"sweep": key, "signal": f"sweeps/{key}{_suffix(file)}", "sample_rate_hz": str(recording.sample_rate_hz)}
    return ImportItem(file, row["signal"], row, (f"played: {_what_it_is(recording)}",))


def _what_it_is(recording: Recording) -> str:
    """A sweep's file in words."""
    try:
        fit = fit_sweep(recording.read(1), recording.sample_rate_hz)
    except ParameterError as error:
        raise PackageError(f"{recording.name}: must be what was played ({error}); name the right file") from error
    band = f"{fit.start_hz:.4g} to {fit.stop_hz:.4g} Hz in {fit.end_s - fit.begin_s:.3f} s"
    if fit.exponential:
        return f"an exponential sweep, {band}; harmonics can be read"
    return f"{band}; gives responses but no harmonics: {fit.reason}"


def _plan_file(
    package: Package,
    file: Path,
    choices: Choices,
    signal: ImportItem | None,
    held: dict[tuple[int, str], str],
    taken: set[str],
) -> ImportItem:
    """What is known of one file."""
    recording = open_recording(file)
    stamp = file.stat().st_size, digest(file)
    if stamp in held:
        return ImportItem(file, "", {}, already=held[stamp])
    key = _unused(slug_of(file.stem), taken)
    taken.add(key)
    held[stamp] = key
    draft = _Draft(recording, {"take": key, "recording": f"recordings/{key}{_suffix(file)}"})
    if key != file.stem:
        draft.understood.append(f"take = {key}: made of the file's name")
    for step in (_specimen, _session, _channels, _kind):
        step(draft, package, choices)
    _sweep(draft, package, choices, signal)
    if choices.drive_gain_db is not None:
        draft.know("drive_gain_db", f"{choices.drive_gain_db:g}", "told")
    return ImportItem(file, draft.row["recording"], draft.row, tuple(draft.understood), tuple(draft.questions))


def _specimen(draft: _Draft, package: Package, choices: Choices) -> None:
    """The specimen: told, or the longest key with which the file's name begins."""
    if choices.specimen:
        draft.know("specimen", choices.specimen, "told")
        return
    stem = slug_of(Path(draft.recording.name).stem)
    fitting = [s for s in package.specimens if re.match(re.escape(s) + r"(?![a-z0-9])", stem)]
    if fitting:
        draft.know("specimen", max(fitting, key=len), "the file's name begins with it")
        return
    draft.ask(
        "specimen", "the file's name begins with no key of specimens.csv", "give --specimen KEY, or rename the file"
    )


def _session(draft: _Draft, package: Package, choices: Choices) -> None:
    """The session, or the rig where there was none."""
    if choices.session or choices.rig:
        column = "session" if choices.session else "rig"
        draft.know(column, getattr(choices, column), "told")
    elif len(package.sessions) == 1:
        draft.know("session", next(iter(package.sessions)), "the only one of sessions.csv")
    elif not package.sessions and len(package.rigs) == 1:
        draft.know("rig", next(iter(package.rigs)), "the only one of rigs.csv")
    else:
        many = len(package.sessions)
        draft.ask(
            "session", f"sessions.csv has {many or 'none'}", "give --session KEY, or --rig KEY where there was none"
        )


def _kind(draft: _Draft, package: Package, choices: Choices) -> None:
    """Sweep, impulse response or tap: told, or a sweep because it stays loud for long."""
    if choices.kind:
        draft.know("recording_is", choices.kind, "told")
        return
    channel = int(draft.row.get("microphone_channel", 1))
    loud_s = loud_time_s(draft.recording, channel)
    if loud_s is None:
        draft.ask("recording_is", "its channel is silent", "leave the file out, or give --kind and the right channel")
    elif loud_s >= SHORTEST_SWEEP_S:
        draft.know("recording_is", "sweep", f"it stays loud for {loud_s:.2f} s")
    else:
        text = f"it stays loud for {loud_s * 1000:.3g} ms only: an impulse response, or a tap"
        draft.ask("recording_is", text, "give --kind impulse or --kind tap")


def _channels(draft: _Draft, package: Package, choices: Choices) -> None:
    """Channels: told, or the only one."""
    count = draft.recording.channels
    for column in ("microphone_channel", "reference_channel", "current_channel"):
        channel = getattr(choices, column)
        if channel is None:
            continue
        if 1 <= channel <= count:
            draft.know(column, channel, "told")
        else:
            draft.ask(
                column, f"channel {channel} is not there, the file has {count}", "correct it; channels count from 1"
            )
    if choices.microphone_channel is None:
        if count == 1 and not (choices.reference_channel or choices.current_channel):
            draft.know("microphone_channel", 1, "the only one")
        else:
            draft.ask(
                "microphone_channel", f"the file has {count} channels",
                "give --microphone-channel N, and --reference-channel N if one is a loopback",
            )  # fmt: skip


def _sweep(draft: _Draft, package: Package, choices: Choices, signal: ImportItem | None) -> None:
    """What was played: told, a file that comes with it, or the only row of sweeps.csv."""
    if draft.row.get("recording_is") != "sweep":
        return
    if signal is not None:
        draft.know("sweep", signal.row["sweep"], "the signal that was told")
        rate_hz = open_recording(signal.source).sample_rate_hz
    elif choices.sweep or len(package.sweeps) == 1:
        key = choices.sweep or next(iter(package.sweeps))
        draft.know("sweep", key, "told" if choices.sweep else "the only one of sweeps.csv")
        rate_hz = _rate_of(package, package.sweeps[key]) or draft.recording.sample_rate_hz
    else:
        if choices.reference_channel is None:
            text = f"sweeps.csv has {len(package.sweeps) or 'none'}, and no channel is the reference"
            draft.ask("sweep", text, "give --sweep KEY, or --signal FILE: what was played")
        return
    if rate_hz != draft.recording.sample_rate_hz:
        text = f"its rate is {rate_hz} Hz, the recording's {draft.recording.sample_rate_hz} Hz"
        draft.ask("sweep", text, "give --sweep KEY or --signal FILE of what was really played, or record anew")


def _rate_of(package: Package, sweep: SweepRow) -> int | None:
    return package.open_file(sweep.signal).sample_rate_hz if sweep.signal else sweep.sample_rate_hz


def _with_seatings(items: Sequence[ImportItem], choices: Choices, last: dict[str, int]) -> Iterator[ImportItem]:
    """Give each item its seating: told, further ones, or the first of all."""
    counts: dict[str, int] = {}
    for item in items:
        key = item.row.get("specimen", "")
        counts[key] = counts.get(key, 0) + (not item.already)
    for item in items:
        specimen = item.row.get("specimen")
        if item.already or (specimen is None and choices.seating in (None, "new")):
            yield item
            continue
        if choices.seating == "new" and specimen:
            last[specimen] += 1
            seating, because = last[specimen], "told that each file is a further one"
        elif isinstance(choices.seating, int):
            seating, because = choices.seating, "told"
        elif specimen and last[specimen] == 0 and counts[specimen] == 1:
            seating, because = 1, f"the first take of {specimen}"
        else:
            text = f"{counts[specimen or '']} new takes of {specimen}, {last[specimen or '']} seatings so far"
            question = Question(
                "seating", text, "give --seating N for all, or --seating new if each was pushed on anew"
            )
            yield ImportItem(item.source, item.target, item.row, item.understood, (*item.questions, question))
            continue
        row = {**item.row, "seating": str(seating)}
        yield ImportItem(
            item.source, item.target, row, (*item.understood, f"seating = {seating}: {because}"), item.questions
        )


def loud_time_s(recording: Recording, channel: int = 1) -> float | None:
    """Return for how long a recording stays within 30 dB of its loudest 10 ms, s; None where it is silent.

    Parameters
    ----------
    recording : Recording
        Read in blocks.
    channel : int
        From 1.
    """
    piece = max(recording.sample_rate_hz // 100, 1)
    step = piece * 1000
    energy: list[float] = []
    for start in range(0, recording.frames, step):
        samples = recording.read(channel, start=start, frames=step)
        energy += np.add.reduceat(samples**2, np.arange(0, len(samples), piece)).tolist()
    loudest = max(energy)
    if loudest == 0.0:
        return None
    return sum(e > LOUD_POWER * loudest for e in energy) * piece / recording.sample_rate_hz


def _unused(key: str, taken: set[str]) -> str:
    candidate, count = key, 2
    while candidate in taken:
        tail = f"-{count}"
        candidate, count = key[: 64 - len(tail)] + tail, count + 1
    if not re.fullmatch(SLUG_PATTERN, candidate):
        raise PackageError(f"{key!r}: must make a key; rename the file")
    return candidate


def _suffix(file: Path) -> str:
    with file.open("rb") as opened:
        return ".wav" if opened.read(4) in (b"RIFF", b"RF64", b"RIFX") else ".flac"
