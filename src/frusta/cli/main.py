"""The command `frusta`: its subcommands, and how an error becomes one line.

Every subcommand is a file of this folder. Heavy imports stand inside the functions, so that `--help` is quick.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from frusta.cli import (
    analyse,
    check,
    demo,
    doctor,
    forecast,
    importing,
    new,
    next_,
    open_,
    plan,
    printfile,
    publish,
    record,
    shelf,
)
from frusta.cli.say import say, spoken
from frusta.errors import FrustaError
from frusta.version import __version__

JOB = """Which filament, printed how, in which cone shape, makes a good loudspeaker diaphragm.

A CAMPAIGN is a package: a folder (or a zip of it) with a few small tables and your recordings.

\b
First hour, on the built-in virtual rig:
  frusta demo                        the whole job, and a report to open

\b
With your own cones:
  frusta new DIR                     tables to fill in, and the sweep
  frusta plan DIR                    what to print, in which order to seat it
  frusta record DIR                  the bench: level, sweep, keep or repeat
  frusta import FILES --into DIR     or recordings made elsewhere
  frusta check DIR                   every slip in tables and recordings
  frusta analyse DIR                 readings, differences, ranking, materials
  frusta publish DIR --out REPORT    a report fit to show

\b
The next cone, and the years:
  frusta next DIR                    what to print next, and why
  frusta forecast DIR --material M --profile P    before it is printed
  frusta printfile DIR P --out FILE  cone or coupon as 3MF or STL
  frusta shelf --help                has a cone changed, or the rig?

\b
When something is missing or goes wrong:
  frusta doctor                      what this machine lacks, and how to get it

Exit codes: 0 done; 1 faults were found, or a take could not be read; 2 bad use or a broken package.

Sweeps at measuring level can harm hearing; coils, amplifiers and hot ends burn. Local codes and qualified
practice go first."""

app = typer.Typer(
    name="frusta",
    help=JOB,
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        say(f"frusta {__version__}")
        raise typer.Exit


@app.callback()
def everywhere(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop."),
    ] = False,
    debug: Annotated[bool, typer.Option("--debug", help="On an error show the whole trace.")] = False,
) -> None:
    """Options that come before the subcommand."""
    from frusta.cli.log_file import begin_log

    if debug:
        os.environ["FRUSTA_DEBUG"] = "1"
    begin_log(sys.argv[1:])


app.command("demo", short_help="The whole job on the built-in virtual rig.")(demo.demo)
app.command("new", short_help="Start a package: tables and the sweep.")(new.new)
app.command("import", short_help="Recordings made elsewhere become takes.")(importing.import_)
app.command("check", short_help="Every slip of a package at once.")(check.check)
app.command("plan", short_help="What to print, in which order to seat it.")(plan.plan)
app.command("record", short_help="The bench: level, sweep, verdict, keep or repeat.")(record.record)
app.command("analyse", short_help="From recordings to findings.")(analyse.analyse)
app.command("next", short_help="What to print next, and why.")(next_.next_)
app.command("forecast", short_help="A cone that has not been printed.")(forecast.forecast)
app.command("printfile", short_help="The cone or a coupon as 3MF or STL.")(printfile.printfile)
app.command("publish", short_help="The report and everything behind it.")(publish.publish)
app.command("open")(open_.open_)
app.command("doctor", short_help="What is missing on this machine, and how to get it.")(doctor.doctor)
app.add_typer(shelf.app, name="shelf")


def _one_thread_a_process() -> None:
    """Keep the linear algebra of small matrices on one thread: many takes are spread over processes instead."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def main() -> None:
    """Run the command line; a mistake of the user's becomes one line on standard error and exit code 2."""
    _one_thread_a_process()
    from frusta.cli import log_file
    from frusta.cli.translation import in_the_users_language

    try:
        in_the_users_language(app)()
    except FrustaError as error:
        log_file.note(f"refused: {error}")
        if os.environ.get("FRUSTA_DEBUG"):
            raise
        say(f"frusta: {spoken(str(error))}", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        log_file.note("stopped")
        say("frusta: stopped; nothing half-written was left behind", err=True)
        sys.exit(130)
    except Exception as error:
        log_file.note("a mistake of frusta's own", error)
        raise
    finally:
        log_file.end_log()


if __name__ == "__main__":
    main()
