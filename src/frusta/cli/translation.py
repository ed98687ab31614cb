"""The user's language, where there is a catalogue for it: the help of every command, and what is printed.

Help texts are collected from the commands themselves, so that nothing in them has to be marked: `texts_of` is what a
translator's template holds (``make messages``), `in_the_users_language` puts a catalogue's texts in their place.
"""

from __future__ import annotations

import gettext
import io
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from frusta.cli.say import speak

if TYPE_CHECKING:
    import typer

DOMAIN = "frusta"


def texts_of(command: Any) -> Iterator[str]:
    """Yield every help text of a command and of those below it, each as it stands in the code.

    Parameters
    ----------
    command : click.Command
        As `typer.main.get_command` makes it.
    """
    for owner, name in _places(command):
        yield getattr(owner, name)


def translate(command: Any, say: Callable[[str], str]) -> None:
    """Replace every help text of a command and of those below it by what `say` makes of it.

    Parameters
    ----------
    command : click.Command
        As `typer.main.get_command` makes it; changed in place.
    say : callable
        From a text to its translation, or to itself.
    """
    for owner, name in _places(command):
        setattr(owner, name, say(getattr(owner, name)))


def in_the_users_language(app: typer.Typer) -> Callable[[], Any]:
    """Return what runs the command line: the app itself, or its commands with their help translated.

    Catalogues are ``LANGUAGE/LC_MESSAGES/frusta.mo`` in the folder that ``FRUSTA_TRANSLATIONS`` names, else in
    ``locale`` beside this package; the language is that of ``LANGUAGE``, ``LC_ALL``, ``LC_MESSAGES`` or ``LANG``.
    From then on what is printed is translated, too: `frusta.cli.say`.
    """
    folder = os.environ.get("FRUSTA_TRANSLATIONS") or os.fspath(Path(__file__).parents[1] / "locale")
    found = gettext.find(DOMAIN, folder)
    if not found:
        return app
    import typer

    from frusta.cli.phrases import Phrases

    content = Path(found).read_bytes()
    catalogue = gettext.GNUTranslations(io.BytesIO(content))
    speak(Phrases(content))
    command = typer.main.get_command(app)
    translate(command, lambda text: catalogue.gettext(text) if text else text)
    return command


def _places(command: Any) -> Iterator[tuple[Any, str]]:
    """Where help texts stand: of the command, its options and arguments, and the commands below it."""
    for owner in (command, *command.params):
        for name in ("help", "short_help"):
            if isinstance(getattr(owner, name, None), str) and getattr(owner, name):
                yield owner, name
    for below in getattr(command, "commands", {}).values():
        yield from _places(below)
