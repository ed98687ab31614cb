"""Counts with their nouns: "1 take", "3 takes"; "one print", "four prints"."""

from __future__ import annotations

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return a count in digits with its noun, the plural by an s where none is given.

    Examples
    --------
    >>> counted(1, "take"), counted(3, "take"), counted(2, "row of history", "rows of history")
    ('1 take', '3 takes', '2 rows of history')
    """
    return f"{number} {_noun(number, one, many)}"


def things(number: int, one: str, many: str | None = None) -> str:
    """Return a count in words up to twelve with its noun.

    Examples
    --------
    >>> things(1, "print"), things(4, "print"), things(0, "peak or dip", "peaks and dips")
    ('one print', 'four prints', 'no peaks and dips')
    """
    return f"{count_word(number)} {_noun(number, one, many)}"


def count_word(number: int) -> str:
    """Return a count in words up to twelve, in digits above.

    Examples
    --------
    >>> count_word(4), count_word(30)
    ('four', '30')
    """
    return NUMBERS[number] if 0 <= number < len(NUMBERS) else str(number)


def _noun(number: int, one: str, many: str | None) -> str:
    return one if number == 1 else f"{one}s" if many is None else many
