"""Dependencies point down: DESIGN's layers, read from every import statement in the source.

Oracle: the layer drawing of the design, top to bottom.
"""

from __future__ import annotations

import ast
from pathlib import Path

import frusta

SOURCE = Path(frusta.__file__).parent
LAYERS = [
    {"cli", "web"},
    {"publish"},
    {"bench"},
    {"campaign"},
    {"design"},
    {"material"},
    {"cone"},
    {"signal"},
    {"errors", "version"},
]
HEIGHT = {name: len(LAYERS) - row for row, names in enumerate(LAYERS) for name in names}
SIGNAL_MAY_USE = {"numpy", "scipy", "frusta"}


def imported_names(tree: ast.AST) -> list[tuple[int, str]]:
    """Line and dotted name of everything a module imports; relative imports are refused."""
    names = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: relative import; name the layer in full"
            names += [(node.lineno, f"{node.module}.{alias.name}") for alias in node.names]
    return names


def layer_of(dotted: str) -> str | None:
    """The layer that a dotted name belongs to, or None if it is not frusta's."""
    parts = dotted.split(".")
    return parts[1] if parts[0] == "frusta" and len(parts) > 1 else None


def wrong_arrows(relative: str, text: str) -> list[str]:
    """Imports of one source file that point up, or leave signal's short list of libraries."""
    parts = Path(relative).with_suffix("").parts
    here = parts[0]
    if here not in HEIGHT:  # the package's own __init__ and __main__ are the roof
        return []
    found = []
    for line, name in imported_names(ast.parse(text)):
        there = layer_of(name)
        if there in HEIGHT and HEIGHT[there] > HEIGHT[here]:
            found.append(f"{relative}:{line}: {here} imports {name}, which lies above it")
        top = name.split(".")[0]
        if here == "signal" and top not in SIGNAL_MAY_USE and top not in __import__("sys").stdlib_module_names:
            found.append(f"{relative}:{line}: signal uses numpy and scipy only, not {top}")
    return found


def test_no_arrow_points_up():
    files = sorted(SOURCE.rglob("*.py"))
    assert len(files) > 5
    assert not [w for f in files for w in wrong_arrows(str(f.relative_to(SOURCE)), f.read_text("utf-8"))]


def test_every_folder_is_a_layer():
    folders = {p.name for p in SOURCE.iterdir() if p.is_dir() and (p / "__init__.py").exists()}
    assert folders <= set(HEIGHT)


def test_an_arrow_that_points_up_is_found():
    assert wrong_arrows("signal/gate.py", "from frusta.cone import air\n")
    assert wrong_arrows("signal/gate.py", "import pandas\n")
    assert not wrong_arrows("cone/air.py", "from frusta.signal import gate\n")
