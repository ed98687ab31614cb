"""An invented workshop: findings, curves and package of any size, drawn from a seed, for the report to be tried on.

Curves are sums of damped modes on a piston; figures are what was put in, plus scatter of prints and seatings. The
differences and the ranking are computed by the campaign layer from these readings, not invented.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from frusta.campaign.curves import CURVE_COLUMNS, TakeCurves
from frusta.campaign.differences import find_differences
from frusta.campaign.findings import Estimate, FaultRow, Findings, Reading, TakeFault
from frusta.campaign.groups import groups_of
from frusta.campaign.package import Package, open_package
from frusta.campaign.ranking import rank

FREQUENCY_HZ = 1000 * 2 ** (np.arange(-541, 420) / 96)
SHAPES = ("straight", "concave", "convex")
NAMES = (
    "Heather", "Gorse", "Bracken", "Sedge", "Rowan", "Alder", "Willow", "Thistle", "Clover", "Yarrow",
    "Tansy", "Sorrel",
)  # fmt: skip


@dataclass(frozen=True)
class Workshop:
    """Size and state of the invented campaign."""

    materials: int = 3
    recipes: int = 1
    profiles: int = 3
    prints: int = 2
    seatings: int = 2
    seed: int = 1
    relative: bool = False
    with_profile: bool = True
    good: bool = True
    driver: bool = True
    check: bool = True
    estimates: bool = False
    harmonics: bool = True
    decay: bool = True
    faults: int = 0
    names: Sequence[str] = NAMES
    title: str = "Hedgerow cones for a kitchen radio"
    question: str = "Which of these filaments makes the better 90 mm midrange cone?"
    band: tuple[float, float] | None = (250.0, 3500.0)


@dataclass(frozen=True)
class Invented:
    """What an analysis would return."""

    findings: Findings
    curves: dict[str, TakeCurves]
    package: Package


def invent(folder: Path, shop: Workshop) -> Invented:
    """Write the package of a workshop and make up its findings."""
    rng = np.random.default_rng(shop.seed)
    specimens = _specimens(shop)
    _write_package(folder, shop, specimens)
    package = open_package(folder)
    readings: list[Reading] = []
    curves: dict[str, TakeCurves] = {}
    truth = {}
    for name, kind, material, recipe, profile in specimens:
        scatter = rng.normal(0, 0.012, 4)
        for seating in range(1, shop.seatings + 1):
            take = f"{name}-s{seating}"
            truth[take] = _truth(material, recipe, profile, kind, scatter, rng)
            reading, made = _take(take, name, kind, material, recipe, profile, seating, truth[take], shop)
            readings.append(reading)
            curves[take] = made
    group_of, members = groups_of(package)
    names = {key: member.name for key, member in members.items()}
    findings = Findings(
        campaign="hedgerow",
        made_by="frusta 0",
        readings=tuple(readings),
        differences=find_differences(readings, group_of, names=names),
        ranking=rank(
            readings,
            group_of,
            members,
            shop.band[1] if shop.band else None,
            {r.take: r.unevenness_common_db for r in readings if r.unevenness_common_db is not None},
        ),
        estimates=_estimates(shop, members) if shop.estimates else (),
        faults=tuple(
            FaultRow(
                table="takes",
                take=r.take,
                row=k + 2,
                column="recording",
                fault=f.fault,
                where=f.where,
                what_to_do=f.what_to_do,
            )
            for k, r in enumerate(readings)
            for f in r.faults
        ),
    )
    return Invented(findings, curves, package)


def _specimens(shop: Workshop) -> list[tuple[str, str, str, str, str]]:
    rows = []
    for m in range(shop.materials):
        for c in range(shop.recipes):
            for p in range(shop.profiles):
                for k in range(shop.prints):
                    rows.append(
                        (f"m{m}-c{c}-p{p}-{k + 1}", "cone", f"m{m}", f"c{c}", f"p{p}" if shop.with_profile else "")
                    )
    if shop.check:
        rows.append(("check", "check", "", "", ""))
    if shop.driver:
        rows.append(("bought", "driver", "", "", ""))
    return rows


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _write_package(folder: Path, shop: Workshop, specimens: Sequence[tuple[str, str, str, str, str]]) -> None:
    folder.mkdir(parents=True, exist_ok=True)

    def table(name: str, head: str, rows: Sequence[str]) -> None:
        (folder / f"{name}.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")

    low, high = (f"{v:g}" for v in shop.band) if shop.band else ("", "")
    table(
        "campaign",
        "campaign,title,question,band_low_hz,band_high_hz,licence",
        [f"hedgerow,{_cell(shop.title)},{_cell(shop.question)},{low},{high},CC0-1.0"],
    )
    table(
        "materials", "material,name", [f"m{m},{_cell(shop.names[m % len(shop.names)])}" for m in range(shop.materials)]
    )
    table("recipes", "recipe,layer_mm", [f"c{c},0.2" for c in range(shop.recipes)])
    table(
        "profiles",
        "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm",
        [f"p{p},{SHAPES[p % 3]},14,45,28,{(0, -2.5, 2.5)[p % 3]},0.8" for p in range(max(shop.profiles, 1))],
    )
    scale = "" if shop.relative else "20"
    table("rigs", "rig,mounting,microphone_distance_mm,full_scale_pa", [f"bench,free,150,{scale}"])
    table(
        "sessions",
        "session,rig,date,temperature_c,humidity_pct",
        ["s1,bench,2026-05-06,19.5,48", "s2,bench,2026-06-14,22,61"],
    )
    table("sweeps", "sweep,start_hz,stop_hz,duration_s,level_dbfs,sample_rate_hz", ["log,20,18000,6,-6,48000"])
    table(
        "specimens",
        "specimen,kind,material,recipe,profile,printed_on",
        [",".join([*row, "2026-04-20" if row[1] == "cone" else ""]) for row in specimens],
    )
    (folder / "recordings").mkdir(exist_ok=True)
    rows = []
    for name, *_ in specimens:
        for seating in range(1, shop.seatings + 1):
            take = f"{name}-s{seating}"
            (folder / "recordings" / f"{take}.wav").write_bytes(b"RIFF")
            rows.append(f"{take},{name},s{1 + seating % 2},log,{seating},recordings/{take}.wav,0")
    table("takes", "take,specimen,session,sweep,seating,recording,drive_gain_db", rows)


def _truth(material: str, recipe: str, profile: str, kind: str, scatter: np.ndarray, rng: np.random.Generator) -> dict:
    m = int(material[1:]) if material else 0
    c = int(recipe[1:]) if recipe else 0
    p = int(profile[1:]) if profile else 0
    seating = rng.normal(0, 0.003, 4)
    f0 = 2900 * (1.35, 1.0, 1.06, 0.9, 1.2, 0.96, 1.1, 0.93, 1.02, 1.15, 0.88, 1.25)[m % 12]
    f0 *= (1.0, 0.76, 1.3)[p % 3] * 0.965**c * np.exp(scatter[0] + seating[0])
    q = (30, 26, 15, 20, 24, 18)[m % 6] * np.exp(scatter[1])
    if kind == "driver":
        f0, q = 6500.0, 3.0
    return {
        "f0": f0,
        "q": q,
        "level": 85 + 10 * scatter[2] + 20 * seating[2],
        "decay": np.log(50) * q / (np.pi * f0) * 1e3 * np.exp(seating[3]),
        "thd": 0.35 * (f0 / 3000) ** -0.5 * np.exp(4 * scatter[3]),
    }


def _take(
    take: str, specimen: str, kind: str, material: str, recipe: str, profile: str, seating: int, t: dict, shop: Workshop
) -> tuple[Reading, TakeCurves]:
    index = sum(map(ord, take))
    x = FREQUENCY_HZ
    s = 1j * x

    def mode(f: float, q: float) -> np.ndarray:
        return f**2 / (f**2 - x**2 + 1j * f * x / q)

    body = 1 / (1 + s / (1j * 9000)) ** 2 if kind != "driver" else np.ones_like(s)
    h = body * (
        0.45 + 0.35 * mode(t["f0"], t["q"]) + 0.14 * mode(1.62 * t["f0"], t["q"]) - 0.08 * mode(2.4 * t["f0"], t["q"])
    )
    h *= s / (s + 1j * 0 + 90)
    level = t["level"] + 20 * np.log10(np.abs(h) / np.abs(h[np.argmin(abs(x - 500))])) - (85 if shop.relative else 0)
    level = np.where((x < 40) | (x > 18000), np.nan, level)
    rigid = np.where(
        np.isfinite(level), t["level"] - 10 * np.log10(1 + (x / 7000) ** 4) - (85 if shop.relative else 0), np.nan
    )
    table = {name: np.full(x.size, np.nan) for name in CURVE_COLUMNS}
    table |= {"frequency_hz": x, "level_db": level, "ungated_db": level, "phase_deg": np.zeros(x.size)}
    if profile:
        table["rigid_db"] = rigid
    if shop.harmonics:
        bump = 0.16 + t["thd"] * np.exp(-8 * np.log(x / (t["f0"] / 5)) ** 2)
        for n, share in ((2, 0.8), (3, 0.55), (4, 0.15), (5, 0.1)):
            inside = (x * n < 18000) & (x > 40)
            at_input = 20 * np.log10(share * bump / 100)
            gain = np.interp(n * x, x, level) - level
            table[f"h{n}_input_db"] = np.where(inside, at_input, np.nan)
            table[f"h{n}_db"] = np.where(inside, at_input + gain, np.nan)
            table[f"h{n}_noise_db"] = np.where(inside, -74 + 3 * np.sin(np.log(x)) + gain, np.nan)
    time = np.arange(int(0.006 * 48000)) / 48000
    tau = t["decay"] / np.log(50) / 1e3
    envelope = 20 * np.log10(np.exp(-time / tau) * (1 + 0.08 * np.cos(2 * np.pi * 900 * time)) + 1e-4)
    curves = TakeCurves(
        table=table,
        impulse=np.zeros(16),
        impulse_before_s=0.005,
        sample_rate_hz=48000,
        envelope_db=envelope - envelope[0] if shop.decay else np.zeros(0),
        envelope_start_s=0.0,
        decay_time_ms=np.zeros(0),
        decay_frequency_hz=np.zeros(0),
        decay_map_db=np.zeros((0, 0)),
        group_delay_ms=np.full(x.size, np.nan),
    )
    fault = index % 7 < shop.faults
    quality = "ok" if shop.good else "repeat"
    faults: tuple[TakeFault, ...] = ()
    if fault or not shop.good:
        faults = (
            TakeFault(
                fault="clipped", where="from 3.21 s, at 880 Hz", what_to_do="lower the gain by 6 dB and sweep again"
            ),
        )
        quality = "repeat"
    figures: dict = {
        "level_db": t["level"] - (85 if shop.relative else 0),
        "unevenness_db": 8 + t["q"] / 10,
        "unevenness_common_db": 7 + t["q"] / 10,
        "upper_limit_hz": 12500 * (t["f0"] / 3000) ** 0.1,
        "breakup_hz": t["f0"],
        "breakup_hz_u": 0.0003 * t["f0"],
        "breakup_loss_factor": 1 / t["q"],
        "breakup_prominence_db": 9.0,
        "tallest_peak_hz": t["f0"],
        "tallest_peak_db": 12.0,
        "snr_db": 62.0,
        "clock_ppm": 12.0,
        "decay_bandlimit_ms": 0.6,
    }
    reasons = {"lower_limit_hz": "the gate is too short for a limit this low"}
    if shop.harmonics:
        figures |= {"input_thd_peak_percent": t["thd"] + 0.16, "input_thd_peak_hz": t["f0"] / 5}
    else:
        reasons["input_thd_peak_percent"] = "the sweep is not exponential, so harmonics cannot be told apart"
    if shop.decay:
        figures["decay_2_percent_ms"] = t["decay"]
    else:
        reasons["decay_2_percent_ms"] = "longer than 6.0 ms: the first echo comes before it"
    if kind == "driver":
        figures |= {"breakup_hz": None, "breakup_hz_u": None}
        reasons["breakup_hz"] = "no resonance above 1 kHz stands out"
    session = f"s{1 + seating % 2}"
    reading = Reading(
        take=take, specimen=specimen, kind=kind, material=material or None, recipe=recipe or None,
        profile=profile or None, session=session, seating=seating, quality=quality, faults=faults, reasons=reasons,
        **figures,
    )  # fmt: skip
    return reading, curves


def _estimates(shop: Workshop, members: dict) -> tuple[Estimate, ...]:
    rows = []
    for k, member in enumerate(members.values()):
        rows.append(
            Estimate(
                material=member.material, recipe=member.recipe, hoop_modulus_gpa=4.6 - k, hoop_modulus_gpa_u=0.05,
                layer_shear_modulus_gpa=0.9 - 0.1 * k, layer_shear_modulus_gpa_u=0.04, axial_modulus_gpa=2.4,
                axial_modulus_gpa_u=0.37, loss_factor=0.026 + 0.004 * k, loss_factor_u=0.0006,
                density_kg_m3=1064 + 40 * k,
                density_kg_m3_u=6, identified=("hoop_modulus", "layer_shear_modulus", "loss_factor", "density"),
                assumed=("axial_modulus",), chi_square=1.1,
            )
        )  # fmt: skip
    return tuple(rows)
