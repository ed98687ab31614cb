"""The virtual rig as one more sound device: any package's cones, built from its tables, played and heard live.

What a table does not name is taken from the handbook and drawn from the specimen's name, so that the same package
gives the same cones every time. It is for learning the bench and for trying it: nothing it says is a measurement.
"""

from __future__ import annotations

import math
import re
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from frusta.bench.device import Block, DeviceError, Floats, Heard, Playing
from frusta.bench.mishaps import MISHAPS
from frusta.bench.virtual import Conditions, VirtualRig, seeded
from frusta.bench.virtual_bench import VirtualBench
from frusta.bench.virtual_cone import PrintScatter, VirtualCone, print_cone
from frusta.campaign.package import Package
from frusta.campaign.resolve import cone_mass_g
from frusta.campaign.rows import Rig, Specimen
from frusta.cone.driver import Bench, Coil, Joint, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError
from frusta.material.handbook import AXIAL_RATIO, SHEAR_RATIO, plastic_named
from frusta.signal.level import REFERENCE_PA

BLOCK_S, FAST_BLOCK_S = 0.02, 0.1
CALIBRATOR = "calibrator"
"""What is seated when the calibrator is put over the microphone; the take then names its level."""

DEVICE_FAULTS = ("unplugged", "silent-input")
_DRIVER = ConeProfile("convex", 0.0130, 0.0530, 0.0240, 0.0018, 0.00065)


@dataclass(frozen=True)
class Rehearsal:
    """How the virtual device behaves.

    Parameters
    ----------
    fast : bool
        Deliver at once instead of in real time.
    fault : str or None
        A mishap of `frusta.bench.mishaps`, or ``unplugged`` or ``silent-input``; happens to the first sweep only.
    clock_ppm : float
        How much faster the microphone's clock is than the player's: a USB microphone has its own.
    """

    fast: bool = False
    fault: str | None = None
    clock_ppm: float = 0.0


def parse_rehearsal(text: str) -> Rehearsal:
    """Return what ``virtual``, ``virtual:fast``, ``virtual:fast,dropout`` or ``virtual:fast,85ppm`` means.

    Raises
    ------
    ParameterError
        If a word is not known.
    """
    words = [w for w in text.partition(":")[2].split(",") if w]
    clocks = [float(w.removesuffix("ppm")) for w in words if re.fullmatch(r"-?\d{1,4}ppm", w)]
    words = [w for w in words if not w.endswith("ppm") or not clocks]
    known = ("fast", *MISHAPS, *DEVICE_FAULTS)
    wrong = [w for w in words if w not in known]
    if wrong:
        raise ParameterError(
            f"a virtual device can be {', '.join(known)} or have a clock of its own, 85ppm "
            f"(got {wrong[0]!r}); as in virtual:fast,burst"
        )
    faults = [w for w in words if w != "fast"]
    return Rehearsal("fast" in words, faults[0] if faults else None, clocks[0] if clocks else 0.0)


class VirtualDevice:
    """The virtual rig behind the same interface as a sound card; channels: microphone, loopback, coil current.

    Parameters
    ----------
    rig : VirtualRig
    sample_rate_hz : int
    channels : int
        1 to 3.
    how : Rehearsal, optional
    current_full_scale_a : float
        Of the current channel.
    """

    def __init__(
        self,
        rig: VirtualRig,
        sample_rate_hz: int,
        channels: int = 2,
        how: Rehearsal | None = None,
        current_full_scale_a: float = 1.0,
    ) -> None:
        if not 1 <= channels <= 3:
            raise DeviceError(f"the virtual device has microphone, loopback and current, 3 channels (got {channels})")
        self.name = "virtual rig"
        self.sample_rate_hz = sample_rate_hz
        self.channels = channels
        self._added_mass_kg = 0.0
        self._rig = rig
        self._how = how or Rehearsal()
        self._stop = threading.Event()
        self._gain = 1.0
        self._seat = ("", 0, "")
        self._spoiled = False
        self._current_full_scale_a = current_full_scale_a

    def add_mass(self, added_mass_kg: float) -> None:
        """Put a mass on what moves, in place of the one before."""
        bench = self._rig.bench
        mass_kg = bench.motor.moving_mass_kg - self._added_mass_kg + added_mass_kg
        motor = replace(bench.motor, moving_mass_kg=max(mass_kg, 0.0))
        self._rig = VirtualRig(replace(bench, motor=motor), self._rig.cones, self._rig.seed, self._rig.coupons)
        self._added_mass_kg = added_mass_kg

    def set_gain(self, gain_db: float) -> None:
        """Change the gain of what is playing."""
        self._gain = 10.0 ** (gain_db / 20.0)

    def seat(self, specimen: str, seating: int, take: str = "") -> None:
        """Push a cone on."""
        self._seat = (specimen, seating, take)

    def stop(self) -> None:
        """Silence it."""
        self._stop.set()

    def close(self) -> None:
        """Stop."""
        self.stop()

    def play(self, signal: Floats, *, repeat: bool = False, heard: Heard | None = None) -> Playing:
        """Play and record; see `frusta.bench.device.Device`."""
        self._stop.clear()
        sound = self._steady(signal) if repeat else self._once(signal)
        got: list[Block] = []
        for block in self._blocks(sound, repeat):
            if self._stop.is_set():
                break
            if heard is not None:
                heard(block)
            if not repeat:
                got.append(block)
        samples = np.concatenate(got) if got else np.zeros((0, self.channels), dtype=np.float32)
        return Playing(np.asarray(samples, dtype=np.float64), self._stop.is_set())

    def _once(self, signal: Floats) -> Floats:
        """The recording of one pass."""
        specimen, seating, take = self._seat
        if specimen == CALIBRATOR:
            return self._tone(signal.size, float(take))
        fault = None if self._spoiled else self._how.fault
        self._spoiled = True
        mishap = fault if fault in MISHAPS else None
        sound = self._record(specimen, seating, signal, take, mishap)
        if fault == "silent-input":
            sound = np.zeros_like(sound)
        if fault == "unplugged":
            for _ in self._blocks(sound[: len(sound) // 2], False):
                pass
            raise DeviceError(f"{self.name}: stopped answering; plug it in again, then go on. The take is not counted")
        return sound

    def _tone(self, samples: int, level_db: float) -> Floats:
        """What the microphone hears of a calibrator, shape (samples, channels)."""
        amplitude = math.sqrt(2.0) * REFERENCE_PA * 10.0 ** (level_db / 20.0) / self._rig.bench.full_scale_pa
        turns = 2.0 * np.pi * 1000.0 / self.sample_rate_hz * np.arange(samples)
        sound = np.zeros((samples, self.channels))
        sound[:, 0] = amplitude * np.sin(turns) + self._rig.silence(samples, self.sample_rate_hz, 0.01)[:, 0]
        return sound

    def _steady(self, period: Floats) -> Floats:
        """One period of the recording of a signal that has repeated for long."""
        specimen, seating, _ = self._seat
        times = max(4, math.ceil(2.0 * self.sample_rate_hz / period.size))
        scale = min(1.0, 0.9 / float(np.max(np.abs(period))))
        sound = self._record(specimen, seating, np.tile(period * scale, times), "noise", None) / scale
        return np.asarray(sound[-period.size :])

    def _record(self, specimen: str, seating: int, signal: Floats, take: str, mishap: str | None) -> Floats:
        loopback = self.channels > 1
        sound = self._rig.record(
            specimen,
            seating,
            signal,
            self.sample_rate_hz,
            take=take,
            conditions=Conditions(loopback=loopback, clock_ppm=self._how.clock_ppm),
            mishap=mishap,
        )
        if self.channels > 2:
            current = np.zeros(len(sound))
            late = round(self._rig.bench.latency_s * self.sample_rate_hz)
            current[late:] = self._current(specimen, seating, signal)[: len(sound) - late]
            sound = np.column_stack([sound, current])
        return sound

    def _current(self, specimen: str, seating: int, signal: Floats) -> Floats:
        """Coil current of a stiff cone on its suspension, re the current channel's full scale."""
        frequency = np.fft.rfftfreq(signal.size, 1.0 / self.sample_rate_hz)
        omega = 2.0 * np.pi * np.maximum(frequency, 1e-3)
        cone = self._rig.cones[specimen]
        _, motor = self._rig.joint_of(specimen, seating)
        mass = cone.mass_kg + cone.coil.mass_kg + motor.moving_mass_kg
        mechanical = (
            motor.suspension_resistance_ns_m + 1j * omega * mass + motor.suspension_stiffness_n_m / (1j * omega)
        )
        blocked = cone.coil.resistance_ohm + 1j * omega * cone.coil.inductance_h
        impedance = blocked + motor.force_factor_tm**2 / mechanical
        volts = np.fft.rfft(signal) * self._rig.bench.drive_full_scale_v
        return np.asarray(np.fft.irfft(volts / impedance, signal.size) / self._current_full_scale_a)

    def _blocks(self, sound: Floats, repeat: bool) -> Iterator[Block]:
        """Cut it into blocks, in real time unless it is to be fast; over and over if it repeats."""
        size = round((FAST_BLOCK_S if self._how.fast else BLOCK_S) * self.sample_rate_hz)
        begun = time.monotonic()
        done = 0
        while True:
            for start in range(0, len(sound), size):
                block = sound[start : start + size]
                if repeat:
                    block = block * self._gain
                done += len(block)
                self._wait(begun + done / self.sample_rate_hz)
                yield np.asarray(block, dtype=np.float32)
                if self._stop.is_set():
                    return
            if not repeat:
                return

    def _wait(self, until: float) -> None:
        if not self._how.fast:
            self._stop.wait(max(0.0, until - time.monotonic()))


def rehearsal_rig(package: Package, rig: Rig, seed: int = 1) -> VirtualRig:
    """Return a virtual rig with every cone of a package beside it.

    Parameters
    ----------
    package : Package
    rig : Rig
        Its constants are used as far as they are known.
    seed : int
    """
    motor = Motor(
        rig.force_factor_tm or 3.9,
        1e3 * (rig.suspension_stiffness_n_mm or 2.8),
        rig.suspension_resistance_ns_m or 0.7,
        1e-3 * (rig.moving_mass_g or 0.0),
    )
    bench = VirtualBench(
        motor=motor,
        bench=Bench(rig.mounting, 1e-3 * rig.microphone_distance_mm),
        joint=Joint(1e-6 / (rig.neck_stiffness_n_um or 30.0), 0.02),
        drive_full_scale_v=rig.drive_full_scale_v or 3.0,
        full_scale_pa=rig.full_scale_pa or 40.0,
    )
    cones = {row.specimen: _cone(package, rig, row, seed) for row in package.specimens.values() if row.kind != "coupon"}
    return VirtualRig(bench, cones, seed)


def _cone(package: Package, rig: Rig, row: Specimen, seed: int) -> VirtualCone:
    coil = Coil(
        1e-3 * (row.coil_mass_g or rig.coil_mass_g or 3.0),
        row.coil_resistance_ohm or rig.coil_resistance_ohm or 5.9,
        1e-3 * (row.coil_inductance_mh or rig.coil_inductance_mh or 0.3),
    )
    drawing, material = package.profiles.get(row.profile or ""), package.materials.get(row.material or "")
    plastic, _ = plastic_named(material.polymer if material else None)
    rng = seeded(seed, "filament", row.material or row.specimen)
    hoop = plastic.modulus_pa * float(np.exp(0.05 * rng.standard_normal()))
    density = (material.density_kg_m3 if material else None) or plastic.density_kg_m3
    filament = Elastic(
        hoop,
        AXIAL_RATIO * hoop,
        SHEAR_RATIO * hoop,
        plastic.poisson,
        plastic.poisson - 0.03,
        density,
        plastic.loss_factor,
    )
    if drawing is None:
        return VirtualCone(_DRIVER, replace(filament, density_kg_m3=720.0, loss_factor=0.085), coil)
    profile = ConeProfile(
        drawing.shape,
        1e-3 * drawing.neck_radius_mm,
        1e-3 * drawing.rim_radius_mm,
        1e-3 * drawing.depth_mm,
        1e-3 * drawing.bow_mm,
        1e-3 * drawing.wall_mm,
        drawing.wall_rule or "normal",
        drawing.cap or "none",
    )
    mass_g = cone_mass_g(row, rig)
    if mass_g is not None:
        filament = replace(filament, density_kg_m3=1e-3 * mass_g / profile.volume_m3)
    return print_cone(profile, filament, coil, PrintScatter(), seeded(seed, "print", row.specimen))
