"""What is compared, by name: groups of prints (material × recipe) and cone profiles, each with its style."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from frusta.campaign.findings import Reading
from frusta.campaign.package import Package
from frusta.campaign.rows import Profile
from frusta.publish.theme import Style, group_styles

UNNAMED = "filament not named"
NO_SHAPE = "shape not given"


@dataclass(frozen=True)
class Group:
    """Prints of one material and recipe.

    Attributes
    ----------
    material, recipe : str
        Keys; empty where the table gives none.
    name : str
        In words; names the recipe only where the material was printed in more than one.
    style : Style
        How it is drawn.
    """

    material: str
    recipe: str
    name: str
    style: Style


class Groups:
    """All groups of a campaign, in the order of the tables, found by the keys that findings use."""

    def __init__(self, readings: Iterable[Reading], package: Package) -> None:
        pairs = {(r.material or "", r.recipe or "") for r in readings if r.kind == "cone"}
        pairs |= {(s.material or "", s.recipe or "") for s in package.specimens.values() if s.kind == "cone"}
        materials, recipes = list(package.materials), list(package.recipes)

        def place(pair: tuple[str, str]) -> tuple[int, int, tuple[str, str]]:
            material, recipe = pair
            return (
                materials.index(material) if material in materials else len(materials),
                recipes.index(recipe) if recipe in recipes else -1,
                pair,
            )

        ordered = sorted(pairs, key=place)
        styles = group_styles(ordered)
        self.all: list[Group] = []
        for material, recipe in ordered:
            row = package.materials.get(material)
            name = row.name if row is not None else (material or UNNAMED)
            if sum(m == material for m, _ in ordered) > 1:
                name = f"{name}, {recipe or 'recipe not named'}"
            self.all.append(Group(material, recipe, name, styles[(material, recipe)]))
        self._by_pair = {(g.material, g.recipe): g for g in self.all}

    def of(self, material: str | None, recipe: str | None) -> Group | None:
        """Find a group by material and recipe; by the material alone where it has one recipe."""
        exact = self._by_pair.get((material or "", recipe or ""))
        if exact is not None:
            return exact
        alike = [g for g in self.all if g.material == (material or "")]
        return alike[0] if len(alike) == 1 else None

    def of_key(self, key: str) -> Group | None:
        """Find a group by the key of findings, ``material`` or ``material/recipe``."""
        material, _, recipe = key.partition("/")
        return self.of(material, recipe)

    def name_of(self, key: str) -> str:
        """Name of a group by its key; the key itself where it is unknown."""
        group = self.of_key(key)
        return group.name if group is not None else key


def profile_name(key: str, package: Package) -> str:
    """Name a profile: its shape, and its key where several printed profiles share the shape."""
    row = package.profiles.get(key)
    if row is None:
        return key or NO_SHAPE
    printed = {s.profile for s in package.specimens.values() if s.kind == "cone"} | {key}
    alone = sum(p.shape == row.shape for k, p in package.profiles.items() if k in printed) == 1
    return row.shape if alone else f"{row.shape} {key}"


def profile_order(keys: Iterable[str], package: Package) -> list[str]:
    """Profiles in the order of the table, unknown ones last."""
    known = list(package.profiles)
    return sorted(set(keys), key=lambda k: (known.index(k) if k in known else len(known), k))


def glyph_points(profile: Profile, width: float = 52, height: float = 28) -> tuple[str, str, str]:
    """Draw a cone's section as a small picture: left half, right half, neck, as SVG coordinates.

    Parameters
    ----------
    profile : Profile
        The geometry.
    width, height : float
        Of the picture.

    Returns
    -------
    (str, str, str)
        Points of two polylines, and a path.
    """
    scale = min((width / 2 - 3) / profile.rim_radius_mm, (height - 13) / max(profile.depth_mm, 1e-6))
    base, middle = height - 7.0, width / 2
    points = []
    for k in range(13):
        u = k / 12
        r = profile.neck_radius_mm + u * (profile.rim_radius_mm - profile.neck_radius_mm)
        z = profile.depth_mm * u + 4 * profile.bow_mm * u * (1 - u)
        points.append((r * scale, base - z * scale))
    left = " ".join(f"{middle - r:.1f},{y:.1f}" for r, y in points)
    right = " ".join(f"{middle + r:.1f},{y:.1f}" for r, y in points)
    neck = profile.neck_radius_mm * scale
    return left, right, f"M{middle - neck:.1f} {base:.1f}v5M{middle + neck:.1f} {base:.1f}v5"
