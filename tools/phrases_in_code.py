"""The texts of the source that people may be shown, each with its values in braces: what a translator is given.

A text is a string or f-string with two words at least, or a heading, that is no docstring. Of the page and the report
only errors count. A count with its noun (`counted`, `things`) is one text with a singular and a plural.
"""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TWO_WORDS = re.compile(r"[A-Za-z]{2,}[,:;.)]* +[(]?[A-Za-z{]")
HEADING = re.compile(r"[A-Z][a-z-]{3,}:")
LETTERS = 6
"""Fixed letters that a text has at least: fewer fit too many lines."""

COUNTS, SHOWN = ("counted", "things"), ("progress", "stage", "say", "spoken")
ONLY_ERRORS = ("publish", "web")


@dataclass(frozen=True)
class Text:
    """One text to translate: itself, or singular and plural, and where it stands."""

    forms: tuple[str, ...]
    file: str
    line: int


def texts_in(folder: Path) -> Iterator[Text]:
    """Yield the texts of every module below a folder, file by file."""
    for path in sorted(folder.rglob("*.py")):
        name = path.relative_to(folder).as_posix()
        for forms, line in _texts(ast.parse(path.read_text("utf-8")), name.split("/")[0] in ONLY_ERRORS):
            yield Text(forms, name, line)


def template(node: ast.JoinedStr | ast.Constant) -> str:
    """Return a string with its values in braces, each by its name in the code where it has one."""
    if isinstance(node, ast.Constant):
        return str(node.value) if _has_values(str(node.value)) else _escaped(str(node.value))
    said, names = "", dict[str, str]()
    for piece in node.values:
        if isinstance(piece, ast.FormattedValue):
            said += "{" + _name(piece.value, names) + "}"
        else:
            assert isinstance(piece, ast.Constant)
            said += _escaped(str(piece.value))
    return said


def _texts(tree: ast.Module, only_errors: bool) -> Iterator[tuple[tuple[str, ...], int]]:
    left_out = set(_not_said(tree))
    roots: list[ast.AST] = [tree]
    if only_errors:
        roots = [node.exc for node in ast.walk(tree) if isinstance(node, ast.Raise) and node.exc is not None]
    for root in roots:
        for node in ast.walk(root):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                yield from ((forms, node.lineno) for forms in _texts_of_call(node.func.id, node.args))
            elif isinstance(node, (ast.JoinedStr, ast.Constant)) and id(node) not in left_out:
                if isinstance(node, ast.Constant) and not isinstance(node.value, str):
                    continue
                text = template(node).strip()
                letters = sum(c.isalpha() for c in re.sub(r"{\w*}", "", text))
                if HEADING.fullmatch(text) or (letters >= LETTERS and TWO_WORDS.search(text)):
                    yield (text,), node.lineno


def _texts_of_call(name: str, arguments: list[ast.expr]) -> Iterator[tuple[str, ...]]:
    """A count with its noun; what is surely shown, were it one word."""
    words = [a.value for a in arguments if isinstance(a, ast.Constant) and isinstance(a.value, str)]
    if name in COUNTS and words:
        one, many = words if len(words) == 2 else (words[0], f"{words[0]}s")
        yield f"{{number}} {one}", f"{{number}} {many}"
    elif name in SHOWN and words:
        yield (words[0].strip(),)


def _not_said(tree: ast.Module) -> Iterator[int]:
    """Docstrings and other bare strings, and the pieces of f-strings, by their place in memory."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, (ast.Constant, ast.JoinedStr)):
            yield id(node.value)
        elif isinstance(node, ast.JoinedStr):
            yield from (id(piece) for piece in node.values)
        elif isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            yield id(node.format_spec)


def _name(value: ast.expr, names: dict[str, str]) -> str:
    """A value's name: the last word of what stands in the code, numbered where two differ but end alike."""
    code = ast.unparse(value)
    words = re.findall(r"[A-Za-z_]\w*", re.sub(r"[(\[].*", "", code)) or ["value"]
    base = words[-1].strip("_")
    name, number = base, 1
    while names.get(name, code) != code:
        number += 1
        name = f"{base}{number}"
    names[name] = code
    return name


def _has_values(text: str) -> bool:
    """Whether a plain string is a template itself, to be filled by `str.format`."""
    try:
        names = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
    except ValueError:
        return False
    return bool(names) and all(map(str.isidentifier, names))


def _escaped(text: str) -> str:
    return text.replace("{", "{{").replace("}", "}}")
