"""Recordings made elsewhere become takes; nothing is guessed silently, nothing written over."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from frusta.campaign.check import check_package
from frusta.campaign.importing import Choices, apply_import, loud_time_s, plan_import, slug_of
from frusta.campaign.package import open_package
from frusta.campaign.recordings import open_recording
from frusta.errors import OutputError, PackageError

RATE_HZ = 48000


@pytest.fixture
def elsewhere(tmp_path, maker_package):
    """Files of another program: a linear chirp that was played, a recording of it, an impulse response, stereo."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    chirp = 0.4 * np.sin(2 * np.pi * (100 * t + 3000 * t**2))
    soundfile.write(folder / "chirp.wav", chirp, RATE_HZ, subtype="PCM_16")
    soundfile.write(folder / "fir-1 second.flac", 0.3 * np.roll(chirp, 30), RATE_HZ, subtype="PCM_24")
    soundfile.write(folder / "oak-2_first.wav", 0.2 * np.roll(chirp, 40), RATE_HZ, subtype="FLOAT")
    soundfile.write(folder / "ir.wav", np.exp(-200 * t) * np.sin(2 * np.pi * 900 * t), RATE_HZ, subtype="FLOAT")
    soundfile.write(folder / "fir-1-pair.wav", np.column_stack([chirp, 0.1 * chirp]), RATE_HZ, subtype="PCM_16")
    return folder


def columns_asked(plan):
    return [[q.column for q in item.questions] for item in plan.items]


def test_what_cannot_be_known_is_asked(elsewhere, maker_package, fingerprint_of):
    before = fingerprint_of(maker_package)
    files = [elsewhere / n for n in ("fir-1 second.flac", "oak-2_first.wav", "ir.wav", "fir-1-pair.wav")]
    plan = plan_import(files, maker_package)
    assert columns_asked(plan) == [
        ["session", "seating"],
        ["session"],
        ["specimen", "session", "recording_is"],
        ["session", "microphone_channel", "seating"],
    ]
    assert plan.items[0].row == {
        "take": "fir-1-second",
        "recording": "recordings/fir-1-second.flac",
        "specimen": "fir-1",
        "microphone_channel": "1",
        "recording_is": "sweep",
        "sweep": "short",
    }
    assert plan.items[1].row["seating"] == "1"
    assert all(
        any(t.startswith(f"{c} = ") for t in plan.items[0].understood) for c in ("specimen", "sweep", "recording_is")
    )
    with pytest.raises(PackageError, match=r"fir-1 second\.flac: session: sessions\.csv has 2; give --session KEY"):
        apply_import(plan)
    assert fingerprint_of(maker_package) == before


def test_told_everything_files_become_takes_byte_for_byte(elsewhere, maker_package):
    files = [elsewhere / "fir-1 second.flac", elsewhere / "oak-2_first.wav"]
    choices = Choices(session="s2", seating="new", signal=elsewhere / "chirp.wav", drive_gain_db=-3)
    plan = plan_import(files, maker_package, choices)
    assert plan.questions == ()
    assert "gives responses but no harmonics" in "\n".join(plan.lines())
    assert apply_import(plan) == ["fir-1-second", "oak-2_first"]
    package = open_package(maker_package)
    assert check_package(maker_package).faults == ()
    take = package.takes["fir-1-second"]
    assert (take.seating, take.session, take.sweep, take.drive_gain_db) == (2, "s2", "chirp", -3)
    assert package.takes["oak-2_first"].seating == 1
    for key, file in zip(("fir-1-second", "oak-2_first"), files, strict=True):
        assert package.path_of(package.takes[key].recording).read_bytes() == file.read_bytes()
    assert package.sweeps["chirp"].signal == "sweeps/chirp.wav"
    assert package.sweeps["short"].start_hz == 100


def test_what_is_in_the_package_already_is_left_out(elsewhere, maker_package, fingerprint_of):
    files = [elsewhere / "fir-1 second.flac", elsewhere / "fir-1 second.flac"]
    choices = Choices(session="s2", seating=2, sweep="short")
    plan = plan_import(files, maker_package, choices)
    assert plan.items[1].already == "fir-1-second"
    assert apply_import(plan) == ["fir-1-second"]
    after = fingerprint_of(maker_package)
    assert apply_import(plan_import(files, maker_package, choices)) == []
    assert fingerprint_of(maker_package) == after


def test_rows_that_were_there_keep_their_words_and_columns(elsewhere, maker_package):
    table = maker_package / "takes.csv"
    rows = [line.split(",") for line in table.read_text().splitlines()]
    rows[0] += ["drive_gain_db", "mood"]
    for row in rows[1:]:
        row += ["-1,50", "merry; very"]
    text = "\r\n".join(";".join(f'"{c}"' if ";" in c else c for c in row) for row in rows) + "\r\n"
    table.write_bytes(text.encode("utf-16"))
    apply_import(plan_import([elsewhere / "oak-2_first.wav"], maker_package, Choices(session="s2", sweep="short")))
    lines = table.read_bytes().decode("utf-8").split("\n")
    assert lines[0] == ",".join(rows[0])
    assert lines[1] == "a,fir-1,s1,,short,1,recordings/a.wav,sweep,2,1,-1.50,merry; very"
    assert lines[4] == "oak-2_first,oak-2,s2,,short,1,recordings/oak-2_first.wav,sweep,1,,,"


def test_impulse_responses_and_channels(elsewhere, maker_package):
    ir = plan_import([elsewhere / "ir.wav"], maker_package, Choices(specimen="oak-2", session="s1", kind="impulse"))
    assert ir.questions == ()
    assert "sweep" not in ir.items[0].row
    pair = Choices(session="s1", seating=3, microphone_channel=2, reference_channel=1, sweep="short")
    plan = plan_import([elsewhere / "fir-1-pair.wav"], maker_package, pair)
    assert plan.questions == ()
    assert (plan.items[0].row["microphone_channel"], plan.items[0].row["reference_channel"]) == ("2", "1")
    wrong = plan_import(
        [elsewhere / "fir-1-pair.wav"], maker_package, Choices(session="s1", seating=3, microphone_channel=5)
    )
    assert "channel 5 is not there" in str(wrong.questions[0])


def test_a_rate_that_is_not_the_sweeps_is_asked_about(elsewhere, maker_package):
    samples, _ = soundfile.read(elsewhere / "chirp.wav")
    soundfile.write(elsewhere / "oak-2.wav", samples, 44100)
    plan = plan_import([elsewhere / "oak-2.wav"], maker_package, Choices(session="s1"))
    assert [q.column for q in plan.questions] == ["sweep"]
    assert "48000 Hz, the recording's 44100 Hz" in str(plan.questions[0])


@pytest.mark.parametrize(
    ("choices", "match"),
    [
        (Choices(specimen="nobody"), r"specimen must name a row of specimens\.csv \(got 'nobody'"),
        (Choices(session="s9"), r"session must name a row of sessions\.csv"),
        (Choices(sweep="x"), r"sweep must name a row of sweeps\.csv"),
        (Choices(seating=-1), "seating must be at least 0"),
    ],
)
def test_choices_that_name_nothing_are_refused(elsewhere, maker_package, choices, match):
    with pytest.raises(PackageError, match=match):
        plan_import([elsewhere / "ir.wav"], maker_package, choices)


def test_files_that_are_no_recordings_are_refused(elsewhere, maker_package):
    (elsewhere / "text.wav").write_text("hello")
    with pytest.raises(PackageError, match=r"text\.wav: must be WAV or FLAC"):
        plan_import([elsewhere / "text.wav"], maker_package)
    with pytest.raises(PackageError, match=r"none\.wav: must be a file"):
        plan_import([elsewhere / "none.wav"], maker_package)
    with pytest.raises(PackageError, match="at least one file"):
        plan_import([], maker_package)


def test_a_file_in_the_way_is_not_written_over_and_all_is_as_before(elsewhere, maker_package, fingerprint_of):
    files = [elsewhere / "fir-1 second.flac", elsewhere / "oak-2_first.wav"]
    plan = plan_import(files, maker_package, Choices(session="s2", seating=2, signal=elsewhere / "chirp.wav"))
    (maker_package / "recordings/oak-2_first.wav").write_bytes(b"mine")
    before = fingerprint_of(maker_package)
    with pytest.raises(OutputError, match=r"oak-2_first\.wav: must not be there yet"):
        apply_import(plan)
    assert fingerprint_of(maker_package) == before


def test_a_table_that_cannot_be_written_leaves_all_as_before(elsewhere, maker_package, fingerprint_of, monkeypatch):
    from frusta.campaign import import_apply

    plan = plan_import(
        [elsewhere / "oak-2_first.wav"], maker_package, Choices(session="s2", signal=elsewhere / "chirp.wav")
    )
    before = fingerprint_of(maker_package)
    write = import_apply.write_atomically

    def full(path, content, **how):
        if path.name == "takes.csv":
            raise OutputError("no space")
        return write(path, content, **how)

    monkeypatch.setattr(import_apply, "write_atomically", full)
    with pytest.raises(OutputError, match="no space"):
        apply_import(plan)
    assert fingerprint_of(maker_package) == before


def test_keys_are_made_of_any_name():
    assert slug_of("Täke 1.WAV") == "t-ke-1.wav"
    assert slug_of("...") == "take"
    assert len(slug_of("x" * 300)) == 64


def test_how_long_a_recording_stays_loud(tmp_path):
    """Oracle: an exponential decay of 30 dB lasts ln(10^1.5) time constants, here 0.1 s each: 0.3454 s."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    soundfile.write(tmp_path / "x.wav", 0.9 * np.exp(-10 * t), RATE_HZ, subtype="FLOAT")
    assert loud_time_s(open_recording(tmp_path / "x.wav")) == pytest.approx(0.3454, abs=0.01)
    soundfile.write(tmp_path / "y.wav", 0 * t, RATE_HZ)
    assert loud_time_s(open_recording(tmp_path / "y.wav")) is None


@pytest.mark.reference
def test_a_real_measurement_of_others(reference_data, maker_package):
    """Source: loopback-room (CC BY 4.0): sweep 50 Hz to 22.05 kHz at 44.1 kHz, L = 0.2441 s, by its README."""
    room = reference_data / "loopback-room"
    choices = Choices(specimen="oak-2", session="s1", seating=1, signal=room / "sweep_nominal.wav")
    plan = plan_import([room / "mic_recording.flac"], maker_package, choices)
    assert plan.questions == ()
    assert "an exponential sweep, 50.0" in "\n".join(plan.lines())
    apply_import(plan)
    assert check_package(maker_package).faults == ()
