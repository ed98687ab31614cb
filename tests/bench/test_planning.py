"""The plan in words and numbers, and the commands. Oracle: power.smallest_gap, held elsewhere; simulated campaigns."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from itertools import combinations

import numpy as np
import pytest
from small_package import make_package

from frusta.bench.planning import GUESSED_SEATING_PERCENT, Scatter, make_plan, scatter_of_shelf
from frusta.campaign.package import open_package
from frusta.campaign.studentized import joint_factor
from frusta.errors import ParameterError

SCATTER = Scatter(1.0, 0.5, "stated")


@pytest.fixture
def package(tmp_path):
    root = make_package(tmp_path / "quay")
    with (root / "specimens.csv").open("a") as table:
        table.write("sedge-2,cone,sedge,two,st80,5.0\n")
    return open_package(root)


def test_the_plan_says_what_to_print_seat_and_see(package):
    plan = make_plan(package, SCATTER, difference_percent=3.0)
    text = "\n".join(plan.lines)
    assert "rush/two/st80: 2 there, print" in text
    assert "1. heron, seating 1 (check cone, first)" in text
    assert "from a scatter of 1 % between prints and 0.5 % between seatings, 2 seatings a print (stated)" in text
    assert len(plan.turns) == 8
    assert plan.to_print["rush/two/st80"] == plan.to_print["sedge/two/st80"] > 0


def test_the_smallest_difference_is_seen_four_times_in_five():
    """Oracle: simulation of two groups of four prints, two seatings each, jointly at 95 %: power 0.8 within 0.04."""
    from frusta.campaign.power import smallest_gap

    sd = math.log1p(SCATTER.of_mean_percent(2) / 100)
    gap = smallest_gap(4, sd)
    rng = np.random.default_rng(2)
    factor, seen = joint_factor(2, 6), 0
    for _ in range(3000):
        groups = []
        for mean in (0.0, gap):
            prints = mean + math.log1p(0.01) * rng.standard_normal(4)
            groups.append(prints + (math.log1p(0.005) * rng.standard_normal((2, 4))).mean(axis=0))
        pooled = math.sqrt(0.5 * (groups[0].var(ddof=1) + groups[1].var(ddof=1)))
        seen += groups[1].mean() - groups[0].mean() > factor * pooled * math.sqrt(2 / 4)
    assert abs(seen / 3000 - 0.8) < 0.04


def test_more_prints_show_less(package):
    gaps = [make_plan(package, SCATTER, prints=n).gaps[0][1] for n in (2, 4, 8)]
    assert all(a > b for a, b in combinations(gaps, 2))


def test_a_wish_out_of_range_is_refused(package):
    with pytest.raises(ParameterError, match="must lie between 0 and 100 %"):
        make_plan(package, SCATTER, difference_percent=0.0)


def run(tmp_path, *words):
    environment = {**os.environ, "FRUSTA_CONFIG": str(tmp_path / "config")}
    command = [sys.executable, "-m", "frusta", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, env=environment)


def test_a_saved_plan_is_what_record_follows(tmp_path, package):
    root = str(package.root)
    planned = run(tmp_path, "plan", root, "--seatings", "1", "--seed", "9", "--save")
    assert planned.returncode == 0
    order = [line.split(",")[0] for line in (package.root / "plan.csv").read_text().splitlines()[1:]]
    done = run(tmp_path, "record", root, "--device", "virtual:fast", "--unattended")
    assert done.returncode == 0, done.stderr
    kept = [line.split()[1].rpartition("-")[0] for line in done.stdout.splitlines() if line.startswith("kept")]
    assert [cone.rstrip(":") for cone in kept][1:-1] == order
    assert run(tmp_path, "check", root).returncode == 0
    again = run(tmp_path, "record", root, "--device", "virtual:fast", "--unattended")
    assert again.returncode == 2
    assert "all planned seatings are recorded" in again.stderr


def test_rig_constants_from_the_command_line(tmp_path):
    """Oracle: the virtual rig's own constants, which its tables name; its suspension scatters by 1 % a seating."""
    root = make_package(tmp_path / "quay")
    truth = open_package(root).rigs["jetty"]
    options = ["--calibrate", "--current", "3", "--current-full-scale", "2", "--added-mass", "3", "--unattended"]
    done = run(tmp_path, "record", str(root), "--device", "virtual:fast", *options)
    assert done.returncode == 0, done.stderr
    found = open_package(root).rigs["jetty"]
    assert found.force_factor_tm == pytest.approx(truth.force_factor_tm, rel=0.01)
    assert found.coil_resistance_ohm == pytest.approx(truth.coil_resistance_ohm, rel=0.005)
    assert found.suspension_stiffness_n_mm == pytest.approx(truth.suspension_stiffness_n_mm, rel=0.04)
    assert (root / "bench" / "rig-constants.svg").read_text().startswith("<svg")
    assert run(tmp_path, "check", str(root)).returncode == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--levels", "3,x"], "--levels must be different levels from -60 to 0 dB"),
        (["--rig", "none"], "rig must be one of rigs.csv"),
        (["--sweep", "none"], "sweep must be one of sweeps.csv"),
        (["--repeatability", "none"], "must name a row of specimens.csv"),
        (["--device", "virtual:slow"], "a virtual device can be"),
    ],
)
def test_bad_use_is_one_line(tmp_path, words, said):
    root = make_package(tmp_path / "quay")
    device = [] if "--device" in words else ["--device", "virtual:fast"]
    done = run(tmp_path, "record", str(root), "--unattended", *device, *words)
    assert done.returncode == 2
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_package_with_hashes_is_not_recorded_into(tmp_path):
    root = make_package(tmp_path / "quay")
    (root / "datapackage.json").write_text("{}")
    done = run(tmp_path, "record", str(root), "--device", "virtual:fast", "--unattended")
    assert done.returncode == 2
    assert "remove datapackage.json first" in done.stderr


def learned(variance_print, variance_seating, degrees=5):
    from frusta.campaign.nested import Scatter as Nested
    from frusta.campaign.shelf.scatter_learned import LearnedScatter

    parts = Nested(1e-4, 1e-5, math.nan, degrees, 6, 0, variance_print, variance_seating, math.nan)
    return {"breakup_hz": LearnedScatter("breakup_hz", parts, 9, 3)}


def test_the_scatter_of_a_shelf_is_in_per_cent():
    """Oracle: a standard deviation of 0.012 in the natural logarithm is 1.2 %."""
    found = scatter_of_shelf(learned(0.012**2, 0.003**2))
    assert (found.print_percent, found.seating_percent) == pytest.approx((1.2, 0.3))
    assert found.source == "from 9 prints on the shelf"
    guessed = scatter_of_shelf(learned(0.012**2, math.nan))
    assert (guessed.seating_percent, guessed.source[-7:]) == (GUESSED_SEATING_PERCENT, "a guess")


@pytest.mark.parametrize("taught", [{}, learned(1e-4, 1e-5, degrees=1), learned(0.0, 1e-5), learned(math.nan, 1e-5)])
def test_a_shelf_that_knows_too_little_lends_nothing(taught):
    assert scatter_of_shelf(taught) is None


@pytest.fixture
def said(tmp_path, monkeypatch):
    """What `frusta plan` says, with the maker's own shelf at a place of the test's own."""
    from typer.testing import CliRunner

    from frusta.cli.main import app

    monkeypatch.setenv("FRUSTA_SHELF", str(tmp_path / "own.sqlite"))
    root = make_package(tmp_path / "pier")
    return lambda *words: CliRunner().invoke(app, ["plan", str(root), *words])


def test_the_plan_reads_the_makers_own_shelf_if_there_is_one(said, tmp_path, monkeypatch):
    from frusta.campaign.shelf.store import Shelf

    assert "(a guess: give --scatter, --findings or --shelf)" in said().output
    assert not (tmp_path / "own.sqlite").exists(), "asking must not make a shelf"
    Shelf(tmp_path / "own.sqlite")
    assert "(a guess: give" in said().output
    monkeypatch.setattr("frusta.campaign.shelf.scatter_learned.learn_scatter", lambda _: learned(0.012**2, 0.003**2))
    assert "1.2 % between prints and 0.3 % between seatings, 2 seatings a print (from 9 prints" in said().output
    assert "(stated; that between seatings is a guess)" in said("--scatter", "2").output


def test_a_broken_shelf_does_not_stop_the_plan(said, tmp_path):
    (tmp_path / "own.sqlite").write_bytes(b"no shelf at all, but long enough to be looked at" * 40)
    done = said()
    assert done.exit_code == 0
    assert "The shelf teaches nothing: " in done.output
    assert "(a guess: give" in done.output
    assert said("--shelf", str(tmp_path / "own.sqlite")).exit_code != 0


def test_a_slowed_sweep_does_not_ask_for_a_choice(tmp_path):
    from frusta.bench.sitting import slow_sweep, the_sweep
    from frusta.errors import PackageError

    root = make_package(tmp_path / "mole")
    slow = slow_sweep(open_package(root), "short", 2.5)
    assert slow == "short-slow2.5"
    assert the_sweep(open_package(root)) == "short"
    assert the_sweep(open_package(root), slow) == slow
    with (root / "sweeps.csv").open("a") as table:
        table.write("wide-slowly,50,16000,0.7,0.1,0.3,48000\n")
    with pytest.raises(PackageError, match=r"there are: short, short-slow2\.5, wide-slowly"):
        the_sweep(open_package(root))
