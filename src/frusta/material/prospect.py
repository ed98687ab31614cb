"""What a fit would know if one more cone, seating or coupon were recorded: the covariance before and after.

A candidate is put into the campaign as if it had been recorded, its modes where the fit expects them and as uncertain
as the campaign's own. The fit's normal equations are then set up again, by the same code and with the same scatter,
offsets and bell modes. To first order the covariance does not depend on what will be read, so it is known beforehand.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from frusta.cone.driver import Coil
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError
from frusta.material.bell_pull import Pull, StrayPull, bell_pull
from frusta.material.coupons import coupon_frequencies_hz
from frusta.material.estimate import coordinates_map
from frusta.material.forward import Unknowns, computed_modes, elastic_of, profile_of
from frusta.material.infer import Inferred
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    CouponObserved,
    RecordedModes,
    SeatingObserved,
)
from frusta.material.offsets import Spread
from frusta.material.parameters import TEMPERATURE_C, Parameters, parameters_of
from frusta.material.residuals import Residuals
from frusta.material.solve import MARGIN_HZ, posterior_covariance, stray_pulls

Floats = NDArray[np.float64]

FAINTEST = 0.1
"""Quantile of the loudness of the campaign's own modes below which a mode is not counted on."""
ALIKE_DB = 6.0
"""Modes within this of each other in loudness are thought to be read equally well."""
ALIKE_LEAST = 5
SEATINGS = 2
"""Of a print that does not exist yet."""
TAPPED_FREQUENCY_U, TAPPED_LOSS_U = 5e-4, 0.03
"""How well a tapped coupon's modes are read, relative (from memory); air and support add theirs in the fit."""
TAPPED_THICKNESS_U_M, TAPPED_DENSITY_U = 2e-5, 0.005


@dataclass(frozen=True)
class Told:
    """What is known at one moment.

    Parameters
    ----------
    parameters : Parameters
        Names of the unknowns.
    covariance : ndarray (unknowns, unknowns)
    """

    parameters: Parameters
    covariance: Floats

    def of_materials(self, groups: tuple[str, ...]) -> Floats:
        """Return the covariance of the materials' coordinates, in order, shape (7 × groups, 7 × groups)."""
        table = np.concatenate([coordinates_map(self.parameters, group) for group in groups])
        covariance = table @ self.covariance @ table.T
        return np.asarray(0.5 * (covariance + covariance.T))


class Prospect:
    """A fit that can be asked what more observations would tell it.

    Parameters
    ----------
    inferred : Inferred
        Of a campaign.
    """

    def __init__(self, inferred: Inferred) -> None:
        self.observed, self.fit = inferred.observed, inferred.fit

    @cached_property
    def now(self) -> Told:
        """What is known without any candidate."""
        return self._told(self.observed, None)

    def joint(self, groups: tuple[str, ...]) -> Floats:
        """Return what is known of several materials together, as `Told.of_materials`, from the fit itself."""
        return Told(self.fit.prior, self.fit.covariance).of_materials(groups)

    def with_print(
        self, material: str, profile: str, drawn: ConeProfile | None = None, seatings: int = SEATINGS
    ) -> Told:
        """Return what would be known after another print.

        Parameters
        ----------
        material : str
            Key of its material × recipe; of those in the fit.
        profile : str
            Key of its profile, one of the fit's or a new one.
        drawn : ConeProfile, optional
            The drawing, of a new profile.
        seatings : int

        Raises
        ------
        ParameterError
            If material or profile is unknown, or such a cone cannot be computed.
        """
        self._known(material)
        profiles = dict(self.observed.profiles)
        if drawn is not None:
            profiles.setdefault(profile, drawn)
        if profile not in profiles:
            raise ParameterError(
                f"profile must be one of {', '.join(profiles)}, or come with its drawing (got {profile})"
            )
        cone = self._unseated(material, profile, profiles[profile], seatings)
        observed = replace(self.observed, profiles=profiles, cones=(*self.observed.cones, cone))
        return self._told(observed, cone)

    def with_seating(self, key: str) -> Told:
        """Return what would be known after one more seating of a cone that exists.

        Raises
        ------
        ParameterError
            If the fit has no such cone.
        """
        place = next((i for i, cone in enumerate(self.observed.cones) if cone.key == key), None)
        if place is None:
            raise ParameterError(f"a seating must be of a cone of the fit (got {key})")
        cone = self.observed.cones[place]
        last = cone.seatings[-1]
        again = replace(
            last,
            key=f"{key}/next",
            medium=air_at(TEMPERATURE_C, None),
            temperature_c=TEMPERATURE_C,
            modes=_NO_MODES,
        )
        more = replace(cone, seatings=(*cone.seatings, again))
        cones = tuple(more if i == place else c for i, c in enumerate(self.observed.cones))
        return self._told(replace(self.observed, cones=cones), more)

    def with_coupon(self, material: str, kind: str, flat: bool) -> Told:
        """Return what would be known after a coupon was printed, weighed and tapped.

        Parameters
        ----------
        material : str
        kind : {"stick", "disc"}
            100 × 10 × 3 mm, or 80 mm across and 2 mm thick.
        flat : bool
            Printed flat; else upright.

        Raises
        ------
        ParameterError
            If the fit has no such material, or a disc is to be upright.
        """
        self._known(material)
        stick = kind == "stick"
        length_m, thickness_m = (0.100, 0.003) if stick else (0.080, 0.002)
        coupon = CouponObserved(
            f"next-{kind}",
            material,
            "stick" if stick else "disc",
            flat,
            length_m,
            thickness_m,
            TAPPED_THICKNESS_U_M,
            _NO_MODES,
            elastic_of(self.fit.unknowns, material).density_kg_m3,
            TAPPED_DENSITY_U,
        )
        elastic = elastic_of(self.fit.unknowns, material)
        hertz = coupon_frequencies_hz(coupon, elastic)
        loss = np.full(len(hertz), elastic.loss_factor)
        modes = RecordedModes(hertz, TAPPED_FREQUENCY_U * hertz, loss, TAPPED_LOSS_U * loss, np.zeros(len(hertz)))
        observed = replace(self.observed, coupons=(*self.observed.coupons, replace(coupon, modes=modes)))
        return self._told(observed, None)

    def _known(self, material: str) -> None:
        if material not in self.observed.materials:
            known = ", ".join(self.observed.materials)
            raise ParameterError(f"a material must be one that was estimated, of {known} (got {material})")

    def _unseated(self, material: str, profile: str, drawn: ConeProfile, seatings: int) -> ConeObserved:
        """A cone like the drawing, weighed and coiled like the campaign's others."""
        cones = self.observed.cones
        like = next((c for c in cones if c.material == material), cones[0])
        rigs = [s.rig for c in cones for s in c.seatings]
        rig = max(self.observed.rigs, key=rigs.count)
        mean = Coil(
            float(np.mean([c.coil.mass_kg for c in cones])),
            float(np.mean([c.coil.resistance_ohm for c in cones])),
            float(np.mean([c.coil.inductance_h for c in cones])),
        )
        mass = drawn.volume_m3 * elastic_of(self.fit.unknowns, material).density_kg_m3
        key = f"next-{material}-{profile}"
        seated = tuple(
            SeatingObserved(f"{key}/{i + 1}", rig, air_at(TEMPERATURE_C, None), TEMPERATURE_C, _NO_MODES)
            for i in range(seatings)
        )
        return ConeObserved(
            key, material, profile, mass, like.mass_u_kg, mean, like.coil_mass_u_kg, like.coil_resistance_u_ohm, seated
        )

    def _told(self, observed: CampaignObserved, candidate: ConeObserved | None) -> Told:
        """The covariance of a campaign in which a candidate's seatings without modes are read as expected."""
        prior = parameters_of(observed, self.fit.print_scatter, self.fit.loss_scatter)
        values = prior.mean.copy()
        places = np.array([prior.index[name] for name in self.fit.prior.index])
        values[places] = self.fit.unknowns.values
        unknowns = Unknowns(prior, values)
        if candidate is not None and candidate.profile not in self.observed.profiles:
            candidate = self._weighed(observed, candidate, unknowns)
        rows = _moved(self.fit.residuals, places, len(values))
        if candidate is not None:
            rows = self._with_rows(rows, observed, candidate, unknowns)
        strays = stray_pulls(self.observed, self.fit.computed, self.fit.assigned)
        pulls = self.fit.pulls
        if candidate is not None and len(observed.cones) > len(self.observed.cones):
            strays = [*strays, StrayPull(np.zeros(0), np.zeros(0), np.zeros(0))]
            pulls = None if pulls is None else [*pulls, self._pull(observed, candidate, unknowns, pulls)]
        spread = Spread(observed)
        spread.scale, spread.uneven = self.fit.spread.scale.copy(), self.fit.spread.uneven.copy()
        spread.weights = copy.deepcopy(self.fit.spread.weights)
        spread.wall_weights = copy.deepcopy(self.fit.spread.wall_weights)
        return Told(prior, posterior_covariance(observed, prior, unknowns, rows, spread, pulls, strays))

    def _weighed(self, observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns) -> ConeObserved:
        volume = profile_of(unknowns, observed.profiles[cone.profile], cone.profile, cone.key).volume_m3
        return replace(cone, mass_kg=volume * elastic_of(unknowns, cone.material).density_kg_m3)

    def _pull(self, observed: CampaignObserved, candidate: ConeObserved, unknowns: Unknowns, pulls: list[Pull]) -> Pull:
        """Of bell modes on a new cone: a sibling's, else its own."""
        for cone, pull in zip(self.observed.cones, pulls, strict=True):
            if (cone.material, cone.profile) == (candidate.material, candidate.profile):
                return pull
        return bell_pull(observed, candidate, unknowns, MARGIN_HZ * self._highest_hz)

    @cached_property
    def _highest_hz(self) -> float:
        return max(float(s.modes.frequency_hz.max()) for c in self.observed.cones for s in c.seatings if len(s.modes))

    @cached_property
    def _heard(self) -> tuple[Floats, Floats, Floats]:
        """Loudness as computed, and relative uncertainty of frequency and loss, of every mode of the fit."""
        rows = self.fit.residuals
        cones = self.observed.cones
        loud = [
            self.fit.computed[cones[i].key][j].prominence_db[m]
            for i, j, m in zip(rows.cone, rows.seating, rows.mode, strict=True)
        ]
        return np.array(loud), rows.frequency_u, rows.loss_u

    def _read_as(self, prominence_db: float) -> tuple[float, float]:
        """Relative uncertainties of a mode of a loudness: the median of those alike in the campaign."""
        loud, frequency_u, loss_u = self._heard
        apart = np.abs(loud - prominence_db)
        near = apart <= max(ALIKE_DB, float(np.sort(apart)[min(ALIKE_LEAST, len(apart)) - 1]))
        return float(np.median(frequency_u[near])), float(np.median(loss_u[near]))

    def _with_rows(
        self, rows: Residuals, observed: CampaignObserved, candidate: ConeObserved, unknowns: Unknowns
    ) -> Residuals:
        """Rows of the candidate's seatings that have none yet, all as expected."""
        place = next(i for i, cone in enumerate(observed.cones) if cone.key == candidate.key)
        computed = computed_modes(observed, candidate, unknowns, MARGIN_HZ * self._highest_hz)
        faintest = float(np.quantile(self._heard[0], FAINTEST))
        own = rows.cone == place
        columns: list[list[NDArray[np.float64]]] = []
        names: list[tuple[int, int, int, int]] = []
        for j, seating in enumerate(candidate.seatings):
            if len(seating.modes):
                continue
            of = computed[j]
            if np.any(own):
                modes = sorted(set(rows.mode[own].tolist()) & set(range(len(of.frequency_hz))))
            else:
                loud = (of.prominence_db >= faintest) & (of.frequency_hz <= self._highest_hz)
                modes = np.flatnonzero(loud).tolist()
            for k, mode in enumerate(modes):
                frequency_u, loss_u = self._read_as(float(of.prominence_db[mode]))
                names.append((place, j, mode, k))
                columns.append(
                    [np.array([frequency_u]), np.array([loss_u]), of.frequency_slope[mode], of.loss_slope[mode]]
                )
        if not names:
            return rows
        places = np.array(names, dtype=np.intp).T
        stacked = [np.array([column[i] for column in columns]) for i in range(4)]
        zero = np.zeros(len(names))
        return Residuals(
            np.concatenate([rows.cone, places[0]]),
            np.concatenate([rows.seating, places[1]]),
            np.concatenate([rows.mode, places[2]]),
            np.concatenate([rows.recorded, places[3]]),
            np.concatenate([rows.frequency, zero]),
            np.concatenate([rows.loss, zero]),
            np.concatenate([rows.frequency_u, stacked[0][:, 0]]),
            np.concatenate([rows.loss_u, stacked[1][:, 0]]),
            np.concatenate([rows.frequency_slope, stacked[2]]),
            np.concatenate([rows.loss_slope, stacked[3]]),
        )


_NO_MODES = RecordedModes(*(np.zeros(0) for _ in range(5)))


def _moved(rows: Residuals, places: NDArray[np.intp], size: int) -> Residuals:
    """The same rows in a longer vector of unknowns."""

    def wider(slope: Floats) -> Floats:
        wide = np.zeros((len(slope), size))
        wide[:, places] = slope
        return wide

    return replace(rows, frequency_slope=wider(rows.frequency_slope), loss_slope=wider(rows.loss_slope))
