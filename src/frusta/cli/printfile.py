"""`frusta printfile`: a cone or a coupon as a file that a slicer opens."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frusta.cli.say import say

if TYPE_CHECKING:
    from frusta.campaign.package import Package
    from frusta.design.solid import Solid

COUPONS = ("overhang", "stick", "disc")


def printfile(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="A package: folder or zip.")],
    profile: Annotated[
        str, typer.Argument(metavar="PROFILE", help="Key of profiles.csv; or a coupon: overhang, stick, disc.")
    ],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Ends in .3mf or .stl.")],
    recipe: Annotated[
        str | None, typer.Option("--recipe", metavar="R", help="Key of recipes.csv, for the notes in a 3MF.")
    ] = None,
    socket_former_mm: Annotated[
        float | None, typer.Option(help="Add a socket under the neck for a coil former of this outer radius, mm.")
    ] = None,
    socket_length_mm: Annotated[float, typer.Option(help="Length of the socket, mm.")] = 4.0,
    socket_wall_mm: Annotated[float, typer.Option(help="Wall of the socket, mm.")] = 0.8,
    fit_mm: Annotated[float, typer.Option(help="Gap between former and socket, mm on the radius.")] = 0.05,
    upright: Annotated[bool, typer.Option("--upright/--flat", help="How a stick is printed.")] = True,
) -> None:
    """Write a cone, neck down, or a coupon as 3MF or STL, in millimetres.

    A cone without socket weighs what its forecast says. The overhang coupon leans out more and more: measure the
    height at which it sags and read the angle from the line printed here. A stick printed upright and tapped tells
    the moduli across layers, a disc printed flat tells Poisson's ratio.
    """
    from frusta.campaign.atomic import write_atomically
    from frusta.campaign.package import open_package
    from frusta.design.print_bodies import Socket
    from frusta.design.print_file import print_file

    package = open_package(campaign)
    socket = None
    if socket_former_mm is not None:
        socket = Socket(1e-3 * socket_former_mm, 1e-3 * socket_length_mm, 1e-3 * socket_wall_mm, 1e-3 * fit_mm)
    solid, told = _body(package, profile, socket, upright)
    write_atomically(out, print_file(solid, out.suffix, profile, _notes(package, recipe)))
    for line in told:
        say(line)
    say(f"{1e6 * solid.volume_m3:.2f} cm³, {len(solid.faces)} triangles, watertight")
    say(f"Written: {out}")


def _body(package: Package, name: str, socket: object, upright: bool) -> tuple[Solid, list[str]]:
    """The body of a profile or coupon, and what to know of it."""
    from frusta.campaign.forecasting import drawn_profile, profile_row
    from frusta.design.print_bodies import Socket, cone_body, disc_body, overhang_body, overhang_lean_deg, stick_body
    from frusta.design.printability import printable
    from frusta.errors import ParameterError

    if name in COUPONS and name not in package.profiles:
        if socket is not None:
            raise ParameterError("a coupon has no socket; leave --socket-former-mm out")
        if name == "overhang":
            leans = ", ".join(f"{h} mm {overhang_lean_deg(1e-3 * h):.0f}°" for h in (15, 18, 21, 23, 25, 27, 28))
            return overhang_body(), [f"Lean from the upright where it sags, by height: {leans}"]
        if name == "stick":
            return stick_body(0.100, 0.010, 0.003, upright), ["100 × 10 × 3 mm"]
        return disc_body(0.080, 0.002), ["80 mm across, 2 mm thick"]
    cone = drawn_profile(profile_row(package, name))
    made = printable(cone)
    words = [f"{'may not print' if made.verdict == 'doubtful' else 'cannot be printed'}: {r}" for r in made.reasons]
    return cone_body(cone, socket if isinstance(socket, Socket) else None), words


def _notes(package: Package, recipe: str | None) -> dict[str, str]:
    """The recipe's own figures, for the slicer's reader."""
    from frusta.errors import PackageError

    if recipe is None:
        return {"campaign": package.campaign.campaign}
    if recipe not in package.recipes:
        known = ", ".join(package.recipes) or "none"
        raise PackageError(f"recipes.csv: recipe must be one of {known} (got {recipe}); add a row or choose another")
    row = package.recipes[recipe].model_dump(exclude_none=True)
    return {"campaign": package.campaign.campaign} | {key: str(value) for key, value in row.items()}
