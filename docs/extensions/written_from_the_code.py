"""Parts of the documentation that are written from the code: the package's tables and the commands' own help.

A line ``@@TABLES@@``, ``@@COMMANDS@@`` … of a page is replaced when the page is read; the Table Schema of every table
is written to ``schemas/TABLE.json`` beside the pages.
"""

from __future__ import annotations

import inspect
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from frusta.campaign.column_units import unit_of
from frusta.campaign.datapackage import schema_of
from frusta.campaign.rows import TABLES, Row
from frusta.version import __version__

if TYPE_CHECKING:
    from sphinx.application import Sphinx

_WORDS = {"number": "number", "integer": "whole number", "string": "text"}
_BOUNDS = {
    "exclusiveMinimum": "above {:g}",
    "minimum": "at least {:g}",
    "exclusiveMaximum": "below {:g}",
    "maximum": "at most {:g}",
}


def tables() -> str:
    """Return Markdown that describes every table: its columns, what they hold, units and constraints."""
    return "\n".join(line for model in TABLES.values() for line in _table(model))


def _table(model: type[Row]) -> Iterator[str]:
    yield f"### {model.TABLE}.csv\n"
    yield inspect.cleandoc(model.__doc__ or "").replace("``", "`") + "\n"
    yield f'Table Schema: <a href="schemas/{model.TABLE}.json">{model.TABLE}.json</a>.\n'
    yield "| column | what it holds | unit | must be |"
    yield "| --- | --- | --- | --- |"
    for field in schema_of(model, tuple(model.model_fields))["fields"]:
        column = field["name"]
        name = f"**`{column}`**" if column == model.KEY else f"`{column}`"
        yield f"| {name} | {field['description']} | {unit_of(column)} | {_must_be(model, field)} |"
    yield ""


def _must_be(model: type[Row], field: dict[str, Any]) -> str:
    """The constraints of a column in words."""
    column, limits = field["name"], field.get("constraints", {})
    parts = ["there" if limits.get("required") else "may be empty"]
    if limits.get("unique"):
        parts.append("unlike every other row's")
    if column in model.LINKS:
        parts.append(f"a key of {model.LINKS[column]}.csv")
    elif column in model.FILES:
        parts.append("a file of the package")
    elif "enum" in limits:
        parts.append("one of " + ", ".join(f"`{word}`" for word in limits["enum"]))
    elif field["type"] != "string":
        parts.append(f"a {_WORDS[field['type']]}")
    parts += [words.format(limits[name]) for name, words in _BOUNDS.items() if name in limits]
    return ", ".join(parts)


def commands() -> str:
    """Return Markdown with the help of every command, as the command line prints it."""
    import typer

    from frusta.cli.main import app

    return "\n".join(_commands(typer.main.get_command(app), ("frusta",)))


def _commands(command: Any, path: tuple[str, ...]) -> Iterator[str]:
    words = " ".join(path)
    with command.make_context(words, [], resilient_parsing=True, terminal_width=96, max_content_width=96) as context:
        yield f"{'#' * (len(path) + 1)} {words}\n"
        yield f"```text\n{command.get_help(context)}\n```\n"
    for name, below in sorted(getattr(command, "commands", {}).items()):
        yield from _commands(below, (*path, name))


def others(index: str) -> str:
    """Return the pages of this folder that the index does not name yet, so that none is left out."""
    pages = {path.stem for path in Path(__file__).parents[1].glob("*.md")} - {"index"}
    return "\n".join(sorted(pages - set(index.split())))


def fill(_app: Sphinx, _page: str, source: list[str]) -> None:
    """Replace the marks of a page by what is written from the code."""
    if "@@OTHERS@@" in source[0]:
        source[0] = source[0].replace("@@OTHERS@@", others(source[0]))
    for mark, write in (("@@TABLES@@", tables), ("@@COMMANDS@@", commands), ("@@VERSION@@", lambda: __version__)):
        if mark in source[0]:
            source[0] = source[0].replace(mark, write())


def write_schemas(app: Sphinx, exception: Exception | None) -> None:
    """Write the Table Schema of every table beside the pages."""
    if exception is None and app.builder.format == "html":
        folder = Path(app.outdir) / "schemas"
        folder.mkdir(exist_ok=True)
        for name, model in TABLES.items():
            schema = schema_of(model, tuple(model.model_fields))
            (folder / f"{name}.json").write_text(json.dumps(schema, indent=2, ensure_ascii=False) + "\n", "utf-8")


def setup(app: Sphinx) -> dict[str, bool]:
    """Connect to Sphinx."""
    app.connect("source-read", fill)
    app.connect("build-finished", write_schemas)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
