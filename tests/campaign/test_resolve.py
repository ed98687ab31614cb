"""What holds for a take. Oracle: the design's rules of precedence, by hand on the package of conftest.py."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from frusta.campaign.package import open_package
from frusta.campaign.resolve import calibration_of, law_of, load_take, played_of, resolve_take
from frusta.errors import PackageError


def test_the_session_overrides_the_rig(maker_package):
    package = open_package(maker_package)
    a, b, c = (resolve_take(package, key) for key in "abc")
    assert (a.full_scale_pa, b.full_scale_pa, c.full_scale_pa) == (24, 20, 20)
    assert (a.drive_full_scale_v, b.drive_full_scale_v) == (3.5, 3.5)
    assert (a.temperature_c, b.temperature_c, c.temperature_c) == (21.5, None, None)
    assert (c.session, c.rig.rig, c.kind) == (None, "bench", "tap")
    assert c.coupon.thickness_mm == 3
    assert a.material.name == "Fir"
    assert a.drive_gain_db == 0.0


def test_masses_are_of_the_bare_cone(maker_package, edit_table):
    edit_table(maker_package, "takes.csv", "c,fir-stick,,bench,,", "c,oak-2,,bench,,")
    package = open_package(maker_package)
    a, b, c = (resolve_take(package, key) for key in "abc")
    assert a.cone_mass_kg == pytest.approx(7.5e-3)
    assert b.cone_mass_kg == pytest.approx((9.5 - 3.2) * 1e-3)
    assert c.cone_mass_kg == pytest.approx((9.5 - 3.0) * 1e-3)
    assert [t.coil_mass_kg for t in (a, b, c)] == pytest.approx([3.0e-3, 3.2e-3, 3.0e-3])
    assert a.coil_inductance_h == pytest.approx(0.13e-3)
    assert a.coil_resistance_ohm is None


def test_a_mass_that_cannot_be_had_is_none(maker_package, edit_table):
    edit_table(maker_package, "rigs.csv", "mic.txt,3,", "mic.txt,,")
    edit_table(maker_package, "takes.csv", "b,oak-1", "b,oak-2")
    assert resolve_take(open_package(maker_package), "b").cone_mass_kg is None


def test_samples_come_with_their_channels(maker_package):
    package = open_package(maker_package)
    whole = soundfile.read(maker_package / "recordings/a.wav")[0]
    a = load_take(package, resolve_take(package, "a"))
    assert np.array_equal(a.recording, whole[:, 1])
    assert np.array_equal(a.reference, whole[:, 0])
    assert (a.current, a.bits, a.sample_rate_hz) == (None, 24, 48000)
    assert a.played.sweep.start_hz == 100
    # The table's sweep against its closed form in conftest.py, away from the default fades; 24 bits.
    assert np.abs(a.played.samples[: len(whole)] / a.played.sweep.amplitude - 2 * whole[:, 0])[6500:30000].max() < 1e-3
    b = load_take(package, resolve_take(package, "b"))
    assert (b.reference, b.bits) == (None, 16)
    c = load_take(package, resolve_take(package, "c"))
    assert c.played is None


def test_the_microphone_is_the_channel_that_is_nothing_else(maker_package, edit_table):
    edit_table(maker_package, "takes.csv", "sweep,2,1", "sweep,,1")
    package = open_package(maker_package)
    assert resolve_take(package, "a").microphone_of(package.open_recording("a")) == 2
    edit_table(maker_package, "takes.csv", "b.flac,,,", "b.flac,,,1")
    package = open_package(maker_package)
    with pytest.raises(PackageError, match="must have a channel for the microphone"):
        load_take(package, resolve_take(package, "b"))


def test_a_sweep_that_is_a_file(maker_package, edit_table):
    edit_table(maker_package, "sweeps.csv", "sweep,start", "sweep,signal,start")
    edit_table(maker_package, "sweeps.csv", "short,100", "short,recordings/a.wav,100")
    package = open_package(maker_package)
    row = package.sweeps["short"]
    assert law_of(row, 48000) is None
    played = played_of(package, row, 48000)
    assert played.sweep is None
    assert np.array_equal(played.samples, soundfile.read(maker_package / "recordings/a.wav")[0][:, 0])
    with pytest.raises(PackageError, match=r"one sample rate \(sweep 48000 Hz, recording 44100 Hz\)"):
        played_of(package, row, 44100)


def test_a_rate_that_is_not_the_sweeps_is_refused(maker_package):
    soundfile.write(maker_package / "recordings/b.flac", np.zeros(96000), 96000)
    package = open_package(maker_package)
    with pytest.raises(PackageError, match=r"sweeps\.csv, short: sweep and recording must have one sample rate"):
        load_take(package, resolve_take(package, "b"))


def test_a_sweep_without_a_rate_takes_the_recordings(maker_package, edit_table):
    edit_table(maker_package, "sweeps.csv", "0.2,48000", "0.2,")
    package = open_package(maker_package)
    assert law_of(package.sweeps["short"], 96000).sample_rate_hz == 96000


def test_the_calibration_of_the_rig(maker_package, edit_table):
    package = open_package(maker_package)
    table = calibration_of(package, package.rigs["bench"])
    assert table.level_db[0] == -1.5
    edit_table(maker_package, "rigs.csv", "mic.txt", "")
    package = open_package(maker_package)
    assert calibration_of(package, package.rigs["bench"]) is None
