"""What the commands print goes through here, so that it can be said in the user's language."""

from __future__ import annotations

from collections.abc import Callable

_spoken: list[Callable[[str], str]] = []


def speak(translate: Callable[[str], str]) -> None:
    """Say every text from now on as this makes it.

    Parameters
    ----------
    translate : callable
        From a text to its translation, or to itself.
    """
    _spoken[:] = [translate]


def spoken(text: str) -> str:
    """Return a text in the user's language; as it is where there is no catalogue."""
    return _spoken[0](text) if _spoken else text


def say(text: str = "", *, err: bool = False) -> None:
    """Print a text in the user's language.

    Parameters
    ----------
    text : str
    err : bool
        On standard error.
    """
    import typer

    typer.echo(spoken(text), err=err)
