"""`frusta shelf`: the lifetime store, and what the years did to cones and rig."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frusta.campaign.counts import counted
from frusta.cli.say import say

if TYPE_CHECKING:
    from frusta.campaign.shelf.store import Shelf

HELP = """The lifetime store: every campaign, specimen and take of years in one place.

The shelf is one SQLite file with the recordings beside it (in your data folder, or where --shelf or FRUSTA_SHELF
says), or any database that SQLAlchemy can open by URL.

First:   frusta shelf add spring-2026           a package goes on the shelf; twice changes nothing

Then:    frusta shelf list --material pla       what is there, searched

         frusta shelf compare spring-2026 autumn-2027   has a cone changed, or the rig?

         frusta shelf export spring-2026 --out copy.zip  the package back again"""

app = typer.Typer(name="shelf", help=HELP, no_args_is_help=True, rich_markup_mode=None, pretty_exceptions_enable=False)

Place = Annotated[
    str | None,
    typer.Option(
        "--shelf", metavar="PLACE", help="SQLite file or SQLAlchemy URL; else FRUSTA_SHELF, else your data folder."
    ),
]
Files = Annotated[
    Path | None,
    typer.Option("--files", metavar="DIR", help="Folder of the recordings; beside the SQLite file by default."),
]
Cores = Annotated[int | None, typer.Option("--cores", min=1, help="Processes to use; all by default.")]


def _open(place: str | None, files: Path | None) -> Shelf:
    from frusta.campaign.shelf.store import Shelf

    return Shelf(place, files)


@app.command("add")
def add(
    packages: Annotated[list[Path], typer.Argument(metavar="PACKAGE...", help="Packages: folders or zips.")],
    name: Annotated[
        str | None, typer.Option("--as", metavar="NAME", help="Call it so; by default by the campaign's own key.")
    ] = None,
    choose: Annotated[
        list[str] | None,
        typer.Option(
            "--choose",
            metavar="PLACE=SIDE",
            help="Where both were edited: all=package, specimens/otter-1/mass_g=shelf, ... Sides: shelf, package.",
        ),
    ] = None,
    analyse: Annotated[bool, typer.Option("--analyse/--no-analyse", help="Also read the takes, for search.")] = True,
    shelf: Place = None,
    files: Files = None,
    cores: Cores = None,
) -> None:
    """Put packages on the shelf, and read their takes.

    The same package twice changes nothing. New rows join an entry of the same name; every other difference is shown,
    and nothing is changed until you choose a side for each with --choose. An unreadable package, or one whose files
    are not those its datapackage.json lists, is refused and the others are added all the same: exit code 1. Exit code
    1 also where a choice is open.
    """
    from frusta.campaign.shelf.analysing import analyse_shelf
    from frusta.cli.progress import progress
    from frusta.errors import FrustaError, ParameterError

    if name is not None and len(packages) > 1:
        raise ParameterError(f"--as names one package (got {len(packages)}); add them one by one")
    store = _open(shelf, files)
    choices = dict(_choice(words) for words in choose or [])
    fine, joined = True, []
    for package in packages:
        try:
            result = store.add(package, name, choices)
        except FrustaError as error:
            if len(packages) == 1:
                raise
            say(f"{package}: refused: {error}", err=True)
            fine = False
            continue
        say(_added_words(result.entry, result.outcome))
        for line in result.added:
            say(f"  new: {line}")
        for conflict in result.conflicts:
            say(f"  {conflict}")
        if result.conflicts:
            say("  Nothing was changed. Choose with --choose PLACE=shelf or PLACE=package, all=... for all.")
            fine = False
        else:
            joined.append(result.entry)
    if analyse and joined:
        with progress("Analysing") as show:
            analysed = analyse_shelf(store, joined, cores=cores, progress=show)
        for entry, why in analysed.failed:
            say(f"{entry}: on the shelf, but not analysed: {why}", err=True)
            fine = False
    if not fine:
        raise typer.Exit(1)


def _choice(words: str) -> tuple[str, str]:
    from frusta.errors import ParameterError

    place, sign, side = words.rpartition("=")
    if not sign or not place:
        raise ParameterError(f"--choose must be PLACE=shelf or PLACE=package (got {words!r}); all=package takes all")
    return place, side


def _added_words(entry: str, outcome: str) -> str:
    words = {
        "new": "now on the shelf",
        "same": "already on the shelf, nothing changed",
        "changed": "brought up to date on the shelf",
        "conflict": "edited in both places",
    }
    return f"{entry}: {words[outcome]}."


@app.command("list")
def list_(
    material: Annotated[
        str | None, typer.Option("--material", help="Part of a material's key, name or polymer.")
    ] = None,
    recipe: Annotated[str | None, typer.Option("--recipe", help="Part of a recipe's key.")] = None,
    profile: Annotated[str | None, typer.Option("--profile", help="Part of a profile's key.")] = None,
    specimen: Annotated[str | None, typer.Option("--specimen", help="Part of a specimen's key.")] = None,
    event: Annotated[str | None, typer.Option("--event", help="Part of an event of the history: annealed.")] = None,
    since: Annotated[str | None, typer.Option("--since", metavar="DATE", help="First day of the session.")] = None,
    until: Annotated[str | None, typer.Option("--until", metavar="DATE", help="Last day, month or year.")] = None,
    reading: Annotated[
        list[str] | None, typer.Option("--reading", metavar="CONDITION", help="Such as 'breakup_hz>3000'; repeatable.")
    ] = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write what was found as JSON.")
    ] = None,
    shelf: Place = None,
    files: Files = None,
) -> None:
    """List what is on the shelf; with any option, the takes that fit all of them.

    Readings are searched in what was analysed last: frusta shelf analyse brings that up to date.
    """
    from dataclasses import asdict

    from frusta.campaign.shelf.searching import Wanted, search

    store = _open(shelf, files)
    wanted = Wanted(material, recipe, profile, specimen, event, since, until, tuple(reading or ()))
    if wanted == Wanted():
        entries = store.entries()
        for entry in entries:
            counts = f"{counted(entry.specimens, 'specimen')}, {counted(entry.takes, 'take')}"
            state = f"analysed by {entry.analysed_by}" if entry.analysed_by else "not analysed"
            say(f"{entry.entry}: {entry.title} ({counts}, {state})")
        if not entries:
            say("The shelf is empty: frusta shelf add PACKAGE puts a package on it.")
        rows = [asdict(entry) for entry in entries]
    else:
        found = search(store, wanted)
        for take in found:
            figures = "".join(f", {key} {value:g}" for key, value in take.figures.items())
            group = "/".join(word for word in (take.material, take.recipe, take.profile) if word)
            say(f"{take.entry} {take.take}: {take.specimen} ({group or 'no group'}, {take.date or 'no date'}){figures}")
        say(f"{counted(len(found), 'take')}.")
        rows = [asdict(take) for take in found]
    if json_file is not None:
        _write_json(json_file, rows)


@app.command("show")
def show(
    entry: Annotated[str, typer.Argument(metavar="NAME", help="A campaign on the shelf.")],
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write its rows as JSON.")] = None,
    shelf: Place = None,
    files: Files = None,
) -> None:
    """Show one campaign of the shelf: its specimens with their history, its takes, and its findings in words."""
    from frusta.campaign.sentences import summary_lines

    store = _open(shelf, files)
    contents = store.contents(entry)
    campaign = contents.rows["campaign"][0]
    say(f"{entry}: {campaign['title']}")
    for specimen in contents.rows.get("specimens", ()):
        events = [
            f"{row['event']} {row['date']}"
            for row in contents.rows.get("history", ())
            if row["specimen"] == specimen["specimen"]
        ]
        takes = sum(row["specimen"] == specimen["specimen"] for row in contents.rows.get("takes", ()))
        words = [specimen["kind"], specimen.get("material"), specimen.get("profile"), counted(takes, "take"), *events]
        say(f"  {specimen['specimen']}: {', '.join(word for word in words if word)}")
    say(f"  {counted(len(contents.files), 'file')}, {contents.size / 1e6:.1f} MB")
    findings = store.findings(entry)
    for line in summary_lines(findings) if findings else ["Not analysed: frusta shelf analyse " + entry]:
        say(line)
    if json_file is not None:
        _write_json(
            json_file, {"entry": entry, "content": contents.content, "rows": contents.rows, "files": contents.files}
        )


@app.command("compare")
def compare(
    earlier: Annotated[str, typer.Argument(metavar="EARLIER", help="A package, or a campaign on the shelf.")],
    later: Annotated[str, typer.Argument(metavar="LATER", help="The same specimens, later.")],
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the comparison as JSON.")
    ] = None,
    shelf: Place = None,
    files: Files = None,
    cores: Cores = None,
) -> None:
    """Say which cones changed between two looks, by how much, and what the rig explains of it.

    Specimens are the same where their keys are. Modes are paired and their shift told apart into what all specimens
    share (rig, air, temperature: learned from the check cone and those that stayed) and what is this specimen's own.
    Changed, unchanged or unclear: unchanged means that a change worth speaking of is ruled out.
    """
    from frusta.campaign.atomic import write_atomically
    from frusta.campaign.shelf.ageing_words import comparison_json, comparison_lines
    from frusta.campaign.shelf.comparing import compare as run
    from frusta.cli.progress import progress

    with progress("Reading takes") as show_progress:
        comparison = run(earlier, later, lambda: _open(shelf, files), cores=cores, progress=show_progress)
    for line in comparison_lines(comparison):
        say(line)
    if json_file is not None:
        write_atomically(json_file, comparison_json(comparison))
        say(f"Written: {json_file}")


@app.command("scatter")
def scatter(
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write it as JSON.")] = None,
    shelf: Place = None,
    files: Files = None,
) -> None:
    """Say how much prints, seatings and takes scatter, figure by figure, learned from the whole shelf.

    frusta analyse --shelf and frusta plan --shelf use it.
    """
    from dataclasses import asdict

    from frusta.campaign.figures import FIGURE
    from frusta.campaign.shelf.scatter_learned import learn_scatter

    learned = learn_scatter(_open(shelf, files))
    if learned:
        say(f"{'standard deviation between':34}{'prints':>10}{'seatings':>11}{'takes':>11}   learned from")
    for key, found in learned.items():
        parts = (found.scatter.variance_print, found.scatter.variance_seating, found.scatter.variance_take)
        prints, seatings, takes = (_spread_words(part) for part in parts)
        say(
            f"{FIGURE[key].name:34}{prints:>10}{seatings:>11}{takes:>11}   "
            f"{found.prints} prints in {found.groups} groups"
        )
    if not learned:
        say("Nothing yet: it takes two prints of one material, recipe and profile, analysed.")
    if json_file is not None:
        rows = [asdict(found) for found in learned.values()]
        known = [row | {"scatter": {k: v if v == v else None for k, v in row["scatter"].items()}} for row in rows]
        _write_json(json_file, known)


def _spread_words(variance: float) -> str:
    """Return a scatter in words; nan is what no repeated take has told, 0 what the rest of the scatter hides."""
    if math.isnan(variance):
        return "not told"
    return f"{100 * variance**0.5:.2f} %" if variance > 0 else "none seen"


@app.command("drivers")
def drivers(
    entry: Annotated[str, typer.Argument(metavar="NAME", help="A package, or a campaign on the shelf.")],
    shelf: Place = None,
    files: Files = None,
    cores: Cores = None,
) -> None:
    """Set printed cones beside finished drivers by size-free figures, and say what cannot be compared."""
    from frusta.campaign.shelf.comparing import standings_of
    from frusta.campaign.shelf.drivers import standing_lines

    for line in standing_lines(standings_of(entry, lambda: _open(shelf, files), cores=cores)):
        say(line)


@app.command("pool")
def pool(
    entries: Annotated[list[str], typer.Argument(metavar="NAME...", help="Packages, or campaigns on the shelf.")],
    shelf: Place = None,
    files: Files = None,
    cores: Cores = None,
) -> None:
    """Say what each rig does to level and modes, learned from check cones and others that were heard on several."""
    from frusta.campaign.shelf.comparing import look_of
    from frusta.campaign.shelf.pooling import effect_lines, rig_effects

    for line in effect_lines(rig_effects([look_of(e, lambda: _open(shelf, files), cores=cores) for e in entries])):
        say(line)


@app.command("export")
def export(
    entry: Annotated[str, typer.Argument(metavar="NAME", help="A campaign on the shelf.")],
    out: Annotated[Path, typer.Option("--out", metavar="PLACE", help="NAME.zip, or a folder.")],
    shelf: Place = None,
    files: Files = None,
) -> None:
    """Give a campaign back as a package, the same as was put on the shelf."""
    say(f"Written: {_open(shelf, files).export(entry, out)}")


@app.command("analyse")
def analyse(
    names: Annotated[list[str] | None, typer.Argument(metavar="[NAME...]", help="Campaigns; all by default.")] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Also those whose findings are up to date.")] = False,
    cluster: Annotated[
        str | None, typer.Option("--cluster", metavar="ADDRESS", help="Spread over a dask.distributed scheduler.")
    ] = None,
    shelf: Place = None,
    files: Files = None,
    cores: Cores = None,
) -> None:
    """Analyse anew what changed, or what another version analysed. Stopped, it goes on where it was.

    Exit code 1 where a campaign could not be analysed; the others are.
    """
    from frusta.campaign.shelf.analysing import analyse_shelf
    from frusta.cli.progress import progress

    store = _open(shelf, files)
    with progress("Analysing") as show_progress:
        if cluster is not None:
            from frusta.campaign.shelf.cluster import analyse_on_cluster

            result = analyse_on_cluster(store, cluster, names or (), anew=anew, progress=show_progress)
        else:
            result = analyse_shelf(store, names or (), anew=anew, cores=cores, progress=show_progress)
    say(f"{len(result.done)} analysed, {len(result.fresh)} were up to date.")
    for name, why in result.failed:
        say(f"{name}: {why}", err=True)
    if result.failed:
        raise typer.Exit(1)


@app.command("check")
def check(shelf: Place = None, files: Files = None) -> None:
    """Check that everything on the shelf is as it was put there. Exit code 1 where it is not."""
    from frusta.campaign.shelf.upkeep import check_shelf

    faults = check_shelf(_open(shelf, files))
    for line in faults or ["The shelf is sound."]:
        say(line)
    if faults:
        raise typer.Exit(1)


@app.command("backup")
def backup(
    out: Annotated[Path, typer.Argument(metavar="FILE.zip", help="The backup; replaced if it is there.")],
    shelf: Place = None,
    files: Files = None,
) -> None:
    """Write the whole shelf to one zip; others may use the shelf meanwhile."""
    from frusta.campaign.shelf.upkeep import back_up

    say(f"Written: {back_up(_open(shelf, files), out)}")


@app.command("restore")
def restore(
    source: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A backup.")],
    shelf: Place = None,
    files: Files = None,
) -> None:
    """Fill an empty shelf from a backup; also from one database to another."""
    from frusta.campaign.shelf.upkeep import restore as run

    count = run(source, _open(shelf, files))
    say(f"{counted(count, 'campaign')} restored.")


def _write_json(path: Path, document: object) -> None:
    from frusta.campaign.atomic import write_atomically

    text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    write_atomically(path, text.encode())
    say(f"Written: {path}")
