"""Help in another language: a catalogue's texts stand in place of ours, and without one nothing changes."""

from __future__ import annotations

from pathlib import Path

import typer
from babel.messages import Catalog
from babel.messages.mofile import write_mo
from shell import frusta

from frusta.cli.main import app
from frusta.cli.translation import texts_of

SENTENCE = "Every slip of a package at once."


def helped(*arguments: str, **environment: str) -> str:
    """What the command line prints."""
    done = frusta(*arguments, "--help", **environment)
    assert done.returncode == 0
    return done.stdout


def catalogue(folder: Path) -> Path:
    """A catalogue of every text: the text itself in brackets."""
    place = folder / "eo" / "LC_MESSAGES"
    place.mkdir(parents=True)
    texts = Catalog(locale="eo", charset="utf-8")
    for text in texts_of(typer.main.get_command(app)):
        texts.add(text, f"⟦{text}⟧")
    with (place / "frusta.mo").open("wb") as file:
        write_mo(file, texts)
    return folder


def test_a_catalogue_speaks_in_every_help(tmp_path):
    spoken = {"FRUSTA_TRANSLATIONS": str(catalogue(tmp_path)), "LANGUAGE": "eo", "PYTHONUTF8": "1"}
    assert f"⟦{SENTENCE}⟧" in helped(**spoken)
    shelf = helped("shelf", "compare", **spoken)
    assert "⟦Say which cones changed" in shelf
    assert "⟦Write the comparison as JSON.⟧" in shelf


def test_without_a_catalogue_nothing_changes(tmp_path):
    plain = helped(LANGUAGE="en", PYTHONUTF8="1")
    assert SENTENCE in plain
    assert helped(FRUSTA_TRANSLATIONS=str(tmp_path), LANGUAGE="eo", PYTHONUTF8="1") == plain


def test_the_template_holds_commands_options_and_arguments():
    texts = set(texts_of(typer.main.get_command(app)))
    assert {SENTENCE, "A package: folder or zip.", "Processes to use; all by default."} <= texts
    assert all(text.strip() for text in texts)
