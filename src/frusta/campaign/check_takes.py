"""Check the recordings that takes.csv names: there, whole, of the sweep's rate and length, with the channels named."""

from __future__ import annotations

from collections.abc import Iterator

from frusta.campaign.file_fault import fault_of_file
from frusta.campaign.package import Package
from frusta.campaign.recordings import Recording, fault_of_samples, sounding_s
from frusta.campaign.resolve import law_of
from frusta.campaign.rows import Take
from frusta.campaign.table_fault import TableFault
from frusta.errors import PackageError


def faults_of_takes(package: Package) -> Iterator[TableFault]:
    """Yield what is wrong with the recordings that takes.csv names; each is read through once.

    Parameters
    ----------
    package : Package
        An opened package.
    """
    seen: dict[tuple[str, int | None], str] = {}
    for take in package.takes.values():
        number = package.row_number("takes", take.take)
        name = (take.recording.replace("\\", "/"), take.microphone_channel)
        if name in seen:
            yield TableFault(
                "takes",
                number,
                "recording",
                "duplicate",
                f"must be another file than that of take {seen[name]} (got {take.recording!r} again)",
                "name each take's own recording",
                take.take,
            )
        seen.setdefault(name, take.take)
        channels = [c for c in (take.microphone_channel, take.reference_channel, take.current_channel) if c]
        if len(set(channels)) < len(channels):
            yield TableFault(
                "takes",
                number,
                "reference_channel",
                "duplicate",
                f"must be another channel than the others (got {', '.join(map(str, channels))})",
                "give microphone, reference and current a channel each",
                take.take,
            )
        try:
            recording = package.open_recording(take)
        except PackageError as error:
            yield fault_of_file(error, "takes", number, "recording", take.take)
            continue
        yield from _faults_of_recording(package, take, number, recording)


def _faults_of_recording(
    package: Package, take: Take, number: int | None, recording: Recording
) -> Iterator[TableFault]:
    """Channels, rate and length of one recording, and whether it can be read to its end."""
    for column in ("microphone_channel", "reference_channel", "current_channel"):
        channel = getattr(take, column)
        if channel is not None and channel > recording.channels:
            yield TableFault(
                "takes",
                number,
                column,
                "missing channel",
                f"must be a channel of {take.recording} (got {channel}; it has "
                f"{recording.channels}, they count from 1)",
                "correct the channel",
                take.take,
            )
    others = {take.reference_channel, take.current_channel} - {None}
    if take.microphone_channel is None and others >= set(range(1, recording.channels + 1)):
        yield TableFault(
            "takes",
            number,
            "microphone_channel",
            "missing channel",
            f"must be left in {take.recording} (all of its {recording.channels} are reference or current)",
            "correct the channels",
            take.take,
        )
    if take.sweep in package.sweeps and (take.recording_is or "sweep") == "sweep":
        yield from _faults_of_fit(package, take, number, recording)
    if wrong := fault_of_samples(recording):
        yield fault_of_file(PackageError(wrong), "takes", number, "recording", take.take)


def _faults_of_fit(package: Package, take: Take, number: int | None, recording: Recording) -> Iterator[TableFault]:
    """Whether a recording has its sweep's rate, and is long enough to hold it."""
    row = package.sweeps[str(take.sweep)]
    rate_hz, needed_s = row.sample_rate_hz, None
    try:
        law = law_of(row, recording.sample_rate_hz)
        if law is None:
            signal = package.open_file(str(row.signal))
            rate_hz, needed_s = signal.sample_rate_hz, sounding_s(signal)
        else:
            needed_s = law.sounding_s
    except PackageError:
        return  # the sweep's own fault is told with its row
    if rate_hz is not None and rate_hz != recording.sample_rate_hz:
        yield TableFault(
            "takes",
            number,
            "recording",
            "wrong rate",
            f"must have the sample rate of sweep {row.sweep}, {rate_hz} Hz ({take.recording} has "
            f"{recording.sample_rate_hz} Hz)",
            "record at the sweep's rate, or name the sweep that was played",
            take.take,
        )
    elif needed_s is not None and recording.duration_s < needed_s:
        yield TableFault(
            "takes",
            number,
            "recording",
            "truncated",
            f"must be at least as long as sweep {row.sweep} sounds, {needed_s:.3f} s ({take.recording} has "
            f"{recording.duration_s:.3f} s)",
            "record it anew, or name the sweep that was played",
            take.take,
        )
