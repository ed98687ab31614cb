"""A small campaign from recordings to findings: what is put in comes out, whatever the number of cores.

The recordings are sweeps through sums of damped resonances whose frequencies are known.
"""

from __future__ import annotations

import csv

import numpy as np
import pytest
import soundfile
from scipy.signal import fftconvolve

from frusta.campaign.analysis import analyse
from frusta.campaign.output import findings_json, write_analysis
from frusta.errors import PackageError, ParameterError
from frusta.signal.sweep import Sweep, make_sweep

RATE_HZ = 48000
SWEEP = Sweep(50.0, 18000.0, 1.5, lead_in_s=0.2, tail_s=0.5)
BREAKUP_HZ = {"rook": 4400.0, "flint": 4000.0}
PRINTS = {"1": 1.004, "2": 0.996}


def impulse_response(breakup_hz: float, level: float) -> np.ndarray:
    """A piston that is flat, and three resonances above it, 3 ms after the file's zero."""
    t = np.arange(int(0.1 * RATE_HZ)) / RATE_HZ
    out = np.zeros(t.size)
    out[int(0.003 * RATE_HZ)] = 1.0
    for ratio, gain in ((1.0, 0.12), (1.6, -0.08), (2.3, 0.06)):
        w = 2 * np.pi * breakup_hz * ratio
        delay = t - 0.003
        out += gain * np.where(delay >= 0, np.exp(-0.5 * 0.04 * w * delay) * np.sin(w * delay), 0.0)
    return 0.2 * level * out


def write_table(folder, name, rows):
    with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def make_campaign(folder):
    rng = np.random.default_rng(4)
    played = make_sweep(SWEEP)
    (folder / "recordings").mkdir(parents=True)
    takes, specimens = [], []
    for material, hz in BREAKUP_HZ.items():
        for k, factor in PRINTS.items():
            specimen = f"{material}-{k}"
            specimens.append({"specimen": specimen, "kind": "cone", "material": material, "profile": "st90"})
            for seating in (1, 2):
                heard = fftconvolve(played, impulse_response(hz * factor * (1 + 2e-4 * seating), 1.0))[: played.size]
                heard += 1e-5 * rng.standard_normal(heard.size)
                name = f"recordings/{specimen}-{seating}.wav"
                soundfile.write(folder / name, heard, RATE_HZ, subtype="PCM_24")
                takes.append(
                    {
                        "take": f"{specimen}-{seating}",
                        "specimen": specimen,
                        "session": "s1",
                        "sweep": "short",
                        "seating": seating,
                        "recording": name,
                    }
                )
    write_table(folder, "campaign", [{"campaign": "two-birds", "title": "Two", "band_high_hz": 4000}])
    write_table(folder, "materials", [{"material": m, "name": m.capitalize()} for m in BREAKUP_HZ])
    profile = {"profile": "st90", "shape": "straight", "neck_radius_mm": 14, "rim_radius_mm": 45}
    write_table(folder, "profiles", [profile | {"depth_mm": 30, "bow_mm": 0, "wall_mm": 0.9}])
    write_table(folder, "rigs", [{"rig": "bench", "mounting": "free", "microphone_distance_mm": 130}])
    write_table(folder, "sessions", [{"session": "s1", "rig": "bench", "date": "2026-05-06"}])
    law = {"start_hz": SWEEP.start_hz, "stop_hz": SWEEP.stop_hz, "duration_s": SWEEP.duration_s}
    write_table(folder, "sweeps", [{"sweep": "short"} | law | {"lead_in_s": 0.2, "tail_s": 0.5}])
    write_table(folder, "specimens", specimens)
    write_table(folder, "takes", takes)
    return folder


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    return make_campaign(tmp_path_factory.mktemp("analysis") / "two-birds")


@pytest.fixture(scope="module")
def analysis(campaign):
    return analyse(campaign, cores=1)


def test_every_take_has_a_reading_in_the_tables_order(analysis):
    assert [r.take for r in analysis.findings.readings][:3] == ["rook-1-1", "rook-1-2", "rook-2-1"]
    assert len(analysis.findings.readings) == 8
    assert analysis.damaged == ()


def test_every_null_has_its_reason(analysis):
    for row in analysis.findings.readings:
        assert {key for key, value in row.model_dump().items() if value is None} <= set(row.reasons), row.take


def test_breakup_is_the_resonance_put_in(analysis):
    for row in analysis.findings.readings:
        true = BREAKUP_HZ[row.material] * PRINTS[row.specimen[-1]] * (1 + 2e-4 * row.seating)
        assert row.breakup_hz == pytest.approx(true, rel=2e-3)


def test_the_difference_is_that_of_the_materials(analysis):
    (row,) = (d for d in analysis.findings.differences if d.figure == "breakup_hz")
    assert (row.a, row.b, row.prints_a, row.prints_b, row.seatings) == ("rook", "flint", 2, 2, 8)
    assert row.ratio == pytest.approx(1.1, rel=1e-3)
    assert row.low_95 < 1.1 < row.high_95
    assert row.verdict.startswith("Rook breaks up ")


def test_the_ranking_has_both(analysis):
    assert {r.material for r in analysis.findings.ranking} == {"rook", "flint"}


def test_unevenness_over_the_common_band_is_read_or_explained(analysis):
    for row in analysis.findings.readings:
        assert (row.unevenness_common_db is None) == ("unevenness_common_db" in row.reasons)


def test_two_cores_give_the_same_to_the_byte(analysis, campaign, tmp_path):
    other = analyse(campaign, cores=2)
    assert findings_json(other.findings) == findings_json(analysis.findings)
    for place, one in (("a", analysis), ("b", other)):
        write_analysis(one, tmp_path / place)
    files = [p.relative_to(tmp_path / "a") for p in (tmp_path / "a").rglob("*.*")]
    assert len(files) == 1 + 7 + 8 + 8
    for file in files:
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes(), file


def test_the_impulse_response_begins_before_the_direct_sound_and_is_long(analysis):
    curves = analysis.curves["rook-1-1"]
    assert curves.impulse_before_s == pytest.approx(0.005)
    assert curves.impulse.size >= 0.205 * RATE_HZ
    onset = int(np.argmax(np.abs(curves.impulse) > 0.1 * np.abs(curves.impulse).max()))
    assert onset / RATE_HZ == pytest.approx(0.005, abs=2e-4)


def test_a_damaged_recording_is_a_fault_and_the_others_are_read(tmp_path):
    folder = make_campaign(tmp_path / "two-birds")
    (folder / "recordings" / "rook-1-1.wav").write_bytes(b"")
    (folder / "recordings" / "flint-2-2.wav").write_bytes(b"RIFF and nothing that a recording would hold" * 9)
    seen = []
    found = analyse(folder, cores=1, progress=lambda done, total: seen.append((done, total)))
    assert found.damaged == ("rook-1-1", "flint-2-2")
    assert seen[-1] == (8, 8)
    row = found.findings.readings[0]
    assert row.quality == "repeat"
    assert row.breakup_hz is None
    assert "0 bytes" in row.reasons["breakup_hz"]
    assert {f.take for f in found.findings.faults} >= {"rook-1-1", "flint-2-2"}
    (difference,) = (d for d in found.findings.differences if d.figure == "breakup_hz")
    assert (difference.prints_a, difference.prints_b, difference.seatings) == (2, 2, 6)


def test_no_package_is_one_clear_line(tmp_path):
    with pytest.raises(PackageError, match="must be a package"):
        analyse(tmp_path / "nowhere")


def test_a_gate_of_no_length_is_refused(campaign):
    with pytest.raises(ParameterError, match="gate_s must be above 0"):
        analyse(campaign, gate_s=0.0)
