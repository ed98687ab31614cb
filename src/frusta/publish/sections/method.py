"""Under which conditions the takes were made, how they were read, and what to be careful with."""

from __future__ import annotations

from typing import Any

from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish import facts
from frusta.publish.prints import counted
from frusta.publish.table import TableOf
from frusta.publish.words import NBSP, band, count, listed, plain

SOURCES = (
    "Sweep and harmonics: A. Novak, P. Lotton, L. Simon, Synchronized swept-sine, J. Audio Eng. Soc. 63(10), 2015.",
    "Limits of the response after IEC 60268-5; scale of the charts after IEC 60263: 25 dB are as long as one decade.",
    "Resonances: R. Roy, T. Kailath, ESPRIT, IEEE Trans. Acoust. Speech Signal Process. 37(7), 1989.",
    "Differences: prints nest seatings, seatings nest takes; joint intervals after Tukey and Kramer, degrees of "
    "freedom after F. E. Satterthwaite, Biometrics Bull. 2, 1946.",
)


def conditions_words(findings: Findings, package: Package) -> dict[str, Any]:
    """The table of sessions, and what the check cone says of the rig between them."""
    rows = []
    for s in facts.used_sessions(findings, package):
        rig = package.rigs.get(s.rig)
        takes = [package.takes[r.take] for r in findings.readings if r.session == s.session and r.take in package.takes]
        gains = sorted({t.drive_gain_db or 0.0 for t in takes})
        full_scale = s.full_scale_pa or (rig.full_scale_pa if rig else None)
        rows.append(
            [
                s.session,
                str(s.date),
                f"{plain(s.temperature_c, 1).removesuffix('.0')}{NBSP}°C"
                if s.temperature_c is not None
                else "not noted",
                f"{plain(s.humidity_pct, 0)}{NBSP}%" if s.humidity_pct is not None else "not noted",
                listed([f"{plain(g, 1)}{NBSP}dB" for g in gains]) or "no takes",
                f"{full_scale:g}{NBSP}Pa" if full_scale else "not known: levels are relative",
                f"{s.rig}: {facts.mounting_words(rig)}" if rig else s.rig,
                str(len(takes)),
            ]
        )
    spread = facts.check_spread_db(findings.readings)
    if spread is None:
        says = "No check cone was heard twice, so a drift of the rig between takes would not show."
    else:
        says = (
            f"The check cone, heard first and last, kept its level within {plain(max(spread, 0.1), 1)}{NBSP}dB over "
            "all sessions. Drift that it shows is taken out of the level differences."
        )
    head = ["Session", "Date", "Air", "Humidity", "Drive gain", "Full scale", "Rig", "Takes"]
    return {"sessions": TableOf(head, rows) if rows else None, "check_says": says}


def method_words(findings: Findings, package: Package) -> dict[str, Any]:
    """What was done, how it was read, and what to be careful with, a list of sentences each."""
    rigs = facts.used_rigs(findings, package)
    sweeps = facts.sweep_words(findings, package)
    kinds = {package.takes[r.take].recording_is or "sweep" for r in findings.readings if r.take in package.takes}
    done = [
        "One motor, one suspension and one microphone; each cone with its own voice coil, pushed on without glue."
        if len(rigs) < 2
        else f"{count(len(rigs), 'rig').capitalize()} were used; the table of conditions says which when."
    ]
    if rigs:
        done.append(
            f"Mounting and distance of the microphone: {listed([facts.mounting_words(r) for r in rigs])}, on axis."
        )
    if sweeps and "sweep" in kinds:
        done.append(f"Swept {listed(sweeps)}.")
    if "impulse" in kinds:
        done.append("Some takes are impulse responses made elsewhere; they give no harmonics.")
    clocks = [r for r in findings.readings if r.clock_ppm is not None]
    references = {bool(package.takes[r.take].reference_channel) for r in findings.readings if r.take in package.takes}
    read = [
        "What was played is divided out, "
        + (
            "by the recorded reference channel"
            if references == {True}
            else "by the sweep"
            if references == {False}
            else "by the reference channel where there is one, else by the sweep"
        )
        + ". The response is cut off before the first echo, so it lacks detail at low frequencies.",
        "Break-up is the lowest resonance above 1 kHz that stands out; resonances are fitted to the reflection-free "
        "response. Distortion counts orders 2 to 5 over the fundamental, only where they stand 10 dB over the noise; "
        "IEC 60268-5 divides by the total instead.",
        "Differences count prints, never takes.",
    ]
    if clocks:
        worst = max(clocks, key=lambda r: abs(r.clock_ppm or 0.0))
        read.append(f"Clock errors up to {plain(abs(worst.clock_ppm or 0.0), 0)}{NBSP}ppm were corrected.")
    calibrated = [bool(r.microphone_calibration) for r in rigs]
    cautions = []
    if not all(calibrated) or not calibrated:
        cautions.append(
            "Levels are as the microphone reads them: it has no calibration file. Comparisons between cones are not "
            "touched by that."
        )
    else:
        cautions.append("The microphone's calibration file was applied.")
    if facts.relative_levels(findings, package):
        cautions.append("Levels are relative; they compare within this campaign only.")
    cautions.append("These figures hold for this rig, mounting and distance. Another rig moves them.")
    snr = sorted(r.snr_db for r in counted(findings.readings) if r.snr_db is not None)
    if snr:
        cautions.append(f"Response over noise, median take: {plain(snr[len(snr) // 2], 0)}{NBSP}dB.")
    band_hz = facts.band_of(package)
    if band_hz:
        cautions.append(f"The ranking is for {band(*band_hz)}; another band may rank otherwise.")
    return {"done": done, "read": read, "cautions": cautions}
