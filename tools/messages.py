"""Write the template for translators, every help text of the command line: ``python tools/messages.py frusta.pot``."""

from __future__ import annotations

import sys
from pathlib import Path

import typer
from babel.messages import Catalog
from babel.messages.pofile import write_po

from frusta.cli.main import app
from frusta.cli.translation import DOMAIN, texts_of
from frusta.version import __version__


def template() -> Catalog:
    """A catalogue without translations."""
    catalogue = Catalog(project=DOMAIN, version=__version__, charset="utf-8")
    for text in texts_of(typer.main.get_command(app)):
        catalogue.add(text)
    return catalogue


if __name__ == "__main__":
    out = Path(sys.argv[1])
    with out.open("wb") as file:
        write_po(file, template(), width=100)
    print(f"{out}: {len(template())} texts")
