"""The virtual rig: a cone pushed on, a signal played, a recording handed back.

It is used as a live device is: samples in, samples out. The physics is that of `frusta.cone.driver`; what a bench
adds stands in `surroundings`, `distortion` and `mishaps`. Everything is drawn from the seed and the names, so that
the same take is the same recording whenever and in whatever order it is made.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import CubicSpline

from frusta.bench.distortion import distort
from frusta.bench.mishaps import (
    CLOCK_FAULT_PPM,
    LEVEL_FAULT_DB,
    check_mishap,
    early_reflection,
    noise_of,
    spoil,
)
from frusta.bench.narrow_feature import features_response
from frusta.bench.resampling import as_other_clock
from frusta.bench.surroundings import make_noise, reflections_response
from frusta.bench.tapping import VirtualCoupon, coupon_modes, rim_modes, strike
from frusta.bench.unevenness import with_uneven_wall
from frusta.bench.virtual_bench import VirtualBench
from frusta.bench.virtual_cone import VirtualCone
from frusta.cone.driver import Driver, Joint, Motor, build_driver, response
from frusta.cone.medium import air_at
from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

TAIL_S = 0.6  # for the ringing of cone, suspension and room, so that nothing wraps
LOWEST_HZ = 4.0
_FINE_FROM_HZ = 200.0
_LOOPBACK_GAIN = 0.9
_LOOPBACK_NOISE = 1e-5


@dataclass(frozen=True)
class Conditions:
    """What one take was made under.

    Parameters
    ----------
    drive_gain_db : float
    temperature_c : float
    humidity_pct : float
    full_scale_pa : float, optional
        Of this session's microphone gain; else the rig's.
    level_drift_db : float
        Of the rig since its calibration: what the check cone is for.
    clock_ppm : float
        The recorder's clock over the player's, fast is positive.
    loopback : bool
        Whether channel 2 records what is played.
    latency_s : float, optional
        Else the rig's.
    """

    drive_gain_db: float = 0.0
    temperature_c: float = 20.0
    humidity_pct: float = 50.0
    full_scale_pa: float | None = None
    level_drift_db: float = 0.0
    clock_ppm: float = 0.0
    loopback: bool = True
    latency_s: float | None = None


@dataclass(frozen=True)
class VirtualRig:
    """A rig with its cones beside it.

    Parameters
    ----------
    bench : VirtualBench
    cones : mapping of str to VirtualCone
        By specimen.
    seed : int
    coupons : mapping of str to VirtualCoupon
        By specimen.
    """

    bench: VirtualBench
    cones: Mapping[str, VirtualCone]
    seed: int = 1
    coupons: Mapping[str, VirtualCoupon] = field(default_factory=dict)
    _responses: dict[object, tuple[Floats, Complexes]] = field(default_factory=dict, repr=False, compare=False)

    def record(
        self,
        specimen: str,
        seating: int,
        played: Floats,
        sample_rate_hz: int,
        *,
        take: str = "",
        conditions: Conditions | None = None,
        mishap: str | None = None,
    ) -> Floats:
        """Play a signal on a seated cone and return the recording.

        Parameters
        ----------
        specimen : str
            One of `cones`.
        seating : int
            Takes of one seating share joint and level.
        played : ndarray, shape (n,)
            Digital signal, ±1.
        sample_rate_hz : int
        take : str
            Name of the take; noise follows it.
        conditions : Conditions, optional
        mishap : str, optional
            One of `frusta.bench.mishaps.MISHAPS`.

        Returns
        -------
        ndarray, shape (n, channels)
            Microphone, and what was played where there is a loopback; within ±1; shorter if the mishap cuts it.

        Raises
        ------
        ParameterError
            If the specimen or mishap is not known, or the signal is not one row of samples.
        """
        check_mishap(mishap)
        signal = _checked(played)
        conditions = conditions or Conditions()
        cone = self._cone(specimen)
        rng = self._generator("take", specimen, str(seating), take)
        if mishap == "wrong-sweep":
            signal = _hurried(signal)
        if mishap == "clock":
            conditions = replace(conditions, clock_ppm=conditions.clock_ppm + CLOCK_FAULT_PPM)
        pressure = self._pressure(cone, specimen, seating, signal, sample_rate_hz, conditions, mishap, rng)
        gain_db = LEVEL_FAULT_DB if mishap == "level" else 0.0
        scale = 10.0 ** (gain_db / 20.0) / (conditions.full_scale_pa or self.bench.full_scale_pa)
        heard = as_other_clock(pressure * scale, conditions.clock_ppm)
        peak = float(np.max(np.abs(heard), initial=0.0)) or 1e-2
        noise = noise_of(self.bench.noise, mishap)
        heard = heard + make_noise(heard.size, sample_rate_hz, noise, peak, rng)
        sounding = _sounding(signal)
        channels = [heard]
        if conditions.loopback:
            channels.append(self._loopback(signal, sample_rate_hz, conditions, rng))
        recording = spoil(np.stack(channels, axis=1), mishap, sounding, sample_rate_hz, rng)
        return np.asarray(np.clip(recording, -1.0, 1.0))

    def record_tap(
        self, specimen: str, sample_rate_hz: int, *, take: str = "", seconds: float = 2.0, temperature_c: float = 20.0
    ) -> Floats:
        """Strike a coupon, or the rim of a cone whose neck is held, and return the recording, shape (n, 1).

        Parameters
        ----------
        specimen : str
            One of `coupons` or `cones`.
        sample_rate_hz : int
        take : str
            Name of the take: where it is struck and the noise follow it.
        seconds : float
            Length.
        temperature_c : float
        """
        rng = self._generator("tap", specimen, take)
        if specimen in self.coupons:
            modes = coupon_modes(self.coupons[specimen])
        else:
            modes = rim_modes(self._cone(specimen), air_at(temperature_c))
        samples = round(seconds * sample_rate_hz)
        sound = strike(modes, samples, sample_rate_hz, rng)
        return (sound + make_noise(samples, sample_rate_hz, self.bench.noise, 0.5, rng))[:, None]

    def silence(self, samples: int, sample_rate_hz: int, peak: float = 0.3, take: str = "") -> Floats:
        """Return what the microphone hears when nothing is played, shape (samples, 1)."""
        rng = self._generator("silence", take)
        return make_noise(samples, sample_rate_hz, self.bench.noise, peak, rng)[:, None]

    def transfer(
        self, specimen: str, seating: int, size: int, sample_rate_hz: int, conditions: Conditions
    ) -> Complexes:
        """Return pressure at the microphone per volt on the bins of an rfft, the room left out.

        Above the model's top frequency the response falls off by a raised cosine over the last tenth.
        """
        frequency = fft.rfftfreq(size, 1.0 / sample_rate_hz)
        grid, values = self._response(specimen, seating, conditions)
        top = grid[-1]
        spline = CubicSpline(np.log(grid), values)
        out = np.zeros(frequency.size, dtype=np.complex128)
        inside = (frequency >= grid[0]) & (frequency <= top)
        out[inside] = spline(np.log(frequency[inside]))
        medium = air_at(conditions.temperature_c, conditions.humidity_pct)
        out *= np.exp(-2j * np.pi * frequency * self.bench.bench.microphone_distance_m / medium.sound_speed_m_s)
        out *= features_response((*self.bench.features, *self._cone(specimen).features), frequency)
        edge = np.clip((frequency - 0.93 * top) / (0.07 * top), 0.0, 1.0)
        return np.asarray(out * (0.5 + 0.5 * np.cos(np.pi * edge)))

    def driver(self, specimen: str, seating: int, conditions: Conditions) -> Driver:
        """Return the seated cone as it really is, its uneven wall included."""
        cone = self._cone(specimen)
        joint, motor = self.joint_of(specimen, seating)
        medium = air_at(conditions.temperature_c, conditions.humidity_pct)
        even = build_driver(cone.profile, cone.elastic, motor, cone.coil, self.bench.bench, medium, joint)
        return with_uneven_wall(even, cone.profile, cone.elastic, cone.unevenness)

    def joint_of(self, specimen: str, seating: int) -> tuple[Joint, Motor]:
        """Return the joint and the motor of one seating."""
        cone = self._cone(specimen)
        rng = self._generator("seating", specimen, str(seating))
        scatter = self.bench.seating
        joint, suspension = (float(np.exp(sd * rng.standard_normal())) for sd in (scatter.joint, scatter.suspension))
        motor = cone.motor or self.bench.motor
        return (
            replace(self.bench.joint, compliance_m_n=self.bench.joint.compliance_m_n * joint),
            replace(motor, suspension_stiffness_n_m=motor.suspension_stiffness_n_m * suspension),
        )

    def level_offset_db(self, specimen: str, seating: int) -> float:
        """Return the level scatter of one seating, dB."""
        rng = self._generator("level", specimen, str(seating))
        return float(self.bench.seating.level_db * rng.standard_normal())

    def _pressure(
        self,
        cone: VirtualCone,
        specimen: str,
        seating: int,
        signal: Floats,
        sample_rate_hz: int,
        conditions: Conditions,
        mishap: str | None,
        rng: np.random.Generator,
    ) -> Floats:
        """Return the sound at the microphone as it reads it, Pa, shape of the signal."""
        size = fft.next_fast_len(signal.size + round(TAIL_S * sample_rate_hz), real=True)
        drive = np.zeros(size)
        drive[: signal.size] = signal * 10.0 ** (conditions.drive_gain_db / 20.0)
        drive = distort(drive, sample_rate_hz, self.bench.distortion, cone.buckle)
        frequency = fft.rfftfreq(size, 1.0 / sample_rate_hz)
        reflections = self.bench.reflections
        if mishap == "reflection":
            reflections = (early_reflection(rng), *reflections)
        latency = self._latency_samples(sample_rate_hz, conditions) / sample_rate_hz
        level_db = conditions.level_drift_db + self.level_offset_db(specimen, seating)
        spectrum = fft.rfft(drive) * self.transfer(specimen, seating, size, sample_rate_hz, conditions)
        spectrum *= reflections_response(reflections, frequency)
        spectrum *= self.bench.microphone.response(size, sample_rate_hz)
        spectrum *= np.exp(-2j * np.pi * frequency * latency)
        volts = self.bench.drive_full_scale_v * 10.0 ** (level_db / 20.0)
        return np.asarray(volts * fft.irfft(spectrum, size)[: signal.size])

    def _response(self, specimen: str, seating: int, conditions: Conditions) -> tuple[Floats, Complexes]:
        """Return frequencies and response with the travel to the microphone taken out; kept per seating."""
        key = (specimen, seating, conditions.temperature_c, conditions.humidity_pct)
        if key not in self._responses:
            driver = self.driver(specimen, seating, conditions)
            grid = response_grid(driver.top_hz, self._cone(specimen).elastic.loss_factor)
            delay = self.bench.bench.microphone_distance_m / driver.medium.sound_speed_m_s
            values = response(driver, grid) * np.exp(2j * np.pi * grid * delay)
            self._responses[key] = (grid, values)
        return self._responses[key]

    def _loopback(
        self, signal: Floats, sample_rate_hz: int, conditions: Conditions, rng: np.random.Generator
    ) -> Floats:
        line = np.zeros(signal.size)
        shift = self._latency_samples(sample_rate_hz, conditions)
        line[shift:] = signal[: signal.size - shift]
        line = as_other_clock(_LOOPBACK_GAIN * line, conditions.clock_ppm)
        return np.asarray(line + _LOOPBACK_NOISE * rng.standard_normal(line.size))

    def _latency_samples(self, sample_rate_hz: int, conditions: Conditions) -> int:
        latency = self.bench.latency_s if conditions.latency_s is None else conditions.latency_s
        return round(latency * sample_rate_hz)

    def _cone(self, specimen: str) -> VirtualCone:
        if specimen not in self.cones:
            raise ParameterError(
                f"specimen must be one of those beside the rig: {', '.join(sorted(self.cones))} (got {specimen!r})"
            )
        return self.cones[specimen]

    def _generator(self, *words: str) -> np.random.Generator:
        return seeded(self.seed, *words)


def seeded(seed: int, *words: str) -> np.random.Generator:
    """Return a generator that belongs to a seed and to names, whatever was drawn before."""
    digest = hashlib.sha256("\x1f".join([str(seed), *words]).encode()).digest()
    return np.random.default_rng(np.frombuffer(digest[:16], dtype="<u4"))


@lru_cache(maxsize=16)
def response_grid(top_hz: float, loss_factor: float) -> Floats:
    """Return frequencies dense enough for a cubic spline between resonances of that loss factor.

    A tenth of a half-power width above the piston band; a hundredth of a decade below it.
    """
    step = min(max(0.1 * loss_factor, 2e-4), 0.01)
    low = np.geomspace(LOWEST_HZ, _FINE_FROM_HZ, 160)
    count = int(np.ceil(np.log(top_hz / _FINE_FROM_HZ) / step)) + 1
    grid = np.concatenate([low, np.geomspace(_FINE_FROM_HZ, top_hz, count)[1:]])
    grid[-1] = top_hz
    grid.setflags(write=False)
    return np.asarray(grid)


def _checked(played: Floats) -> Floats:
    signal = np.asarray(played, dtype=np.float64)
    if signal.ndim != 1 or signal.size < 64 or not np.all(np.isfinite(signal)):
        raise ParameterError(
            f"played must be one row of at least 64 finite samples (got shape {signal.shape}); give one channel"
        )
    if np.max(np.abs(signal)) > 1.0:
        raise ParameterError(f"played must stay within ±1, digital full scale (got {np.max(np.abs(signal)):g})")
    return signal


def _sounding(signal: Floats) -> tuple[int, int]:
    """First and last sample that sounds."""
    place = np.flatnonzero(signal)
    return (int(place[0]), int(place[-1])) if place.size else (0, signal.size - 1)


def _hurried(signal: Floats) -> Floats:
    """The same signal played at 1.3 times the speed: another sweep."""
    first, last = _sounding(signal)
    place = np.arange(signal.size) * 1.3
    lead = signal[: first + 1]
    body = np.interp(place, np.arange(last - first + 1), signal[first : last + 1], right=0.0)
    return np.concatenate([lead, body])[: signal.size]
