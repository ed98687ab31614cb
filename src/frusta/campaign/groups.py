"""The groups of a campaign: material by recipe, in the order of the tables."""

from __future__ import annotations

from collections.abc import Sequence

from frusta.campaign.findings import group_key
from frusta.campaign.package import Package
from frusta.campaign.ranking import Member
from frusta.campaign.rows import Specimen


def groups_of(package: Package) -> tuple[dict[str, str], dict[str, Member]]:
    """Return the group of every printed cone, and what is known of each group.

    Parameters
    ----------
    package : Package
        The campaign.

    Returns
    -------
    group_of : dict of str to str
        By specimen; cones without a material have none. A group is named ``material``, or ``material/recipe`` where
        the campaign's cones of that material were printed by more than one recipe.
    members : dict of str to Member
        By group, in the order of materials.csv and recipes.csv.
    """
    return _grouped(package, [s for s in package.specimens.values() if s.kind == "cone" and s.material is not None])


def estimated_groups(package: Package) -> dict[str, Member]:
    """Return the groups that may have an estimate: those of the cones, and those of which there are coupons alone.

    Parameters
    ----------
    package : Package
        The campaign.
    """
    _, members = groups_of(package)
    with_cones = {member.material for member in members.values()}
    coupons = [s for s in package.specimens.values() if s.kind == "coupon" and s.material is not None]
    _, more = _grouped(package, [s for s in coupons if s.material not in with_cones])
    return members | more


def _grouped(package: Package, cones: Sequence[Specimen]) -> tuple[dict[str, str], dict[str, Member]]:
    recipes: dict[str, set[str | None]] = {}
    for cone in cones:
        recipes.setdefault(str(cone.material), set()).add(cone.recipe)

    def place(cone: Specimen) -> tuple[int, int]:
        recipe = list(package.recipes).index(cone.recipe) if cone.recipe else -1
        return list(package.materials).index(str(cone.material)), recipe

    group_of: dict[str, str] = {}
    members: dict[str, Member] = {}
    for cone in sorted(cones, key=place):
        material = str(cone.material)
        told = cone.recipe if len(recipes[material]) > 1 else None
        group = group_key(material, told)
        name = package.materials[material].name
        group_of[cone.specimen] = group
        members.setdefault(group, Member(material, cone.recipe, name if told is None else f"{name}, {told}"))
    return group_of, members
