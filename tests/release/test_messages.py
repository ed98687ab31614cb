"""The template for translators: what it must hold, read by Babel.

Oracle: texts of the code, copied here by hand; every text must be one that `str.format` can fill.
"""

from __future__ import annotations

import string
import subprocess
import sys
from pathlib import Path

import pytest
from babel.messages import Catalog
from babel.messages.pofile import read_po

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("messages") / "frusta.pot"
    command = [sys.executable, str(ROOT / "tools" / "messages.py"), str(out)]
    subprocess.run(command, check=True, timeout=120, capture_output=True)
    return out


@pytest.fixture(scope="module")
def template(file: Path) -> Catalog:
    with file.open("rb") as opened:
        return read_po(opened)


@pytest.mark.parametrize(
    "text",
    [
        "Every slip of a package at once.",  # help
        "{path}: must be a folder (it is a file); name a folder",  # an error, its value by name
        "Written: {json_file}",  # what a command prints
        "{a} breaks up {by} higher than {b}",  # a sentence with another order elsewhere
        "Drawing",  # one word, but surely shown
        "clipped",  # a fault
        "twelve",
    ],
)
def test_it_holds_what_is_shown(template: Catalog, text: str) -> None:
    assert text in template


def test_a_count_has_both_forms_and_its_place(template: Catalog) -> None:
    message = template.get("{number} take")
    assert message is not None
    assert message.id == ("{number} take", "{number} takes")
    error = template.get("{path}: must be a folder (it is a file); name a folder")
    assert error is not None
    assert {file for file, _ in error.locations} == {"campaign/atomic.py"}


def test_no_docstring_and_no_piece_of_a_text(template: Catalog) -> None:
    assert "Every error that frusta raises on purpose: what must hold, what came, what to do." not in template
    assert "must be a folder (it is a file); name a folder" not in template


def test_every_text_can_be_filled_in_another_language(template: Catalog, file: Path) -> None:
    """Values are words, never expressions; no text is taken for one with per cent signs to fill."""
    assert "python-format" not in file.read_text("utf-8")
    for message in template:
        if message.id and message.locations and not any(name.startswith("cli/") for name, _ in message.locations):
            forms = message.id if isinstance(message.id, tuple) else (message.id,)
            names = [name for form in forms for _, name, _, _ in string.Formatter().parse(form) if name is not None]
            assert all(map(str.isidentifier, names)), message.id
