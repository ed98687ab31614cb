"""Write the template for translators: ``python tools/messages.py frusta.pot``.

It holds every help text of the command line, and every text of the code that a command may print or an error say, each
with the values in braces and where it stands.
"""

from __future__ import annotations

import sys
from pathlib import Path

import typer
from babel.messages import Catalog
from babel.messages.pofile import write_po
from phrases_in_code import texts_in

import frusta
from frusta.campaign.counts import NUMBERS
from frusta.campaign.figures import FIGURE
from frusta.campaign.open_questions import FIGURE_WORDS
from frusta.campaign.rows import TABLES
from frusta.cli.main import app
from frusta.cli.translation import DOMAIN, texts_of
from frusta.signal.fault import FAULT_WORDS
from frusta.version import __version__


def template() -> Catalog:
    """A catalogue without translations."""
    catalogue = Catalog(project=DOMAIN, version=__version__, charset="utf-8")
    for help_text in texts_of(typer.main.get_command(app)):
        catalogue.add(help_text)
    for word in (*NUMBERS, *FAULT_WORDS, *(figure.name for figure in FIGURE.values()), *FIGURE_WORDS.values()):
        catalogue.add(word)
    for table in TABLES:
        catalogue.add((f"{{number}} {table.removesuffix('s')}", f"{{number}} {table}"))
    for text in texts_in(Path(frusta.__file__).parent):
        catalogue.add(text.forms if len(text.forms) > 1 else text.forms[0], locations=[(text.file, text.line)])
    for message in catalogue:
        message.flags.discard("python-format")  # "95 % of prints" is not a value to fill in
    return catalogue


if __name__ == "__main__":
    out = Path(sys.argv[1])
    with out.open("wb") as file:
        write_po(file, template(), width=100)
    print(f"{out}: {len(template())} texts")
