"""Printed lines in another language: known by their fixed words, their values put where the translation wants them.

A phrase is a text of the code with its values in braces, as translators find it in the template: ``{path}: must be a
folder (it is a file); name a folder``. Nothing in the code has to be marked. Where no phrase fits a whole line, its
parts are looked up (before and after a colon, in brackets, in a list); what still fits none stays as it is.
"""

from __future__ import annotations

import gettext
import io
import string
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from frusta.campaign.counts import NUMBERS

LEAST_FIXED = 0.15
"""Share of a text that a phrase's fixed words make up at least, where its values hold a colon or semicolon."""
LITTLE_ENDIAN = b"\xde\x12\x04\x95"


@dataclass(frozen=True)
class Phrase:
    """A text of the code, taken apart at its values.

    Attributes
    ----------
    parts : tuple of str
        Fixed words before, between and after the values; one more than there are values.
    names : tuple of str
        Of the values, in the order in which they come.
    one, many : str
        The text that a catalogue knows it by: its singular, and its plural, which is empty where it counts nothing.
    """

    parts: tuple[str, ...]
    names: tuple[str, ...]
    one: str
    many: str = ""

    @property
    def fixed(self) -> int:
        """How many characters are fixed: of two phrases that fit, the one with more is meant."""
        return sum(map(len, self.parts))

    def values_of(self, line: str) -> dict[str, str] | None:
        """Return the values in a line; None if it is another phrase."""
        if not self.names:
            return {} if line == self.parts[0] else None
        first, *between, last = self.parts
        at, end = len(first), len(line) - len(last)
        if at > end or not line.startswith(first) or not line.endswith(last):
            return None
        values = []
        for part in between:
            found = line.find(part, at, end)
            if found < 0:
                return None
            values.append(line[at:found])
            at = found + len(part)
        return dict(zip(self.names, [*values, line[at:end]], strict=True))


class Phrases:
    """What a catalogue makes of lines.

    Parameters
    ----------
    catalogue : bytes
        An MO file.
    """

    def __init__(self, catalogue: bytes) -> None:
        self._catalogue = gettext.GNUTranslations(io.BytesIO(catalogue))
        found = [phrase for texts in originals(catalogue) for phrase in _phrases(texts)]
        self._phrases = sorted(found, key=lambda phrase: (-phrase.fixed, phrase.parts))

    def __call__(self, line: str) -> str:
        """Return a text in the catalogue's language, its values and parts too where they are phrases themselves."""
        text = line.strip()
        if not any(map(str.isalpha, text)):
            return line
        said = self._fitting(text)
        if said is None and text[0].isupper():
            said = self._fitting(text[0].lower() + text[1:])
            said = said and said[0].upper() + said[1:]
        if said is None and "\n" in line:
            return "\n".join(map(self, line.split("\n")))
        return line.replace(text, said or self._in_parts(text), 1)

    def _fitting(self, text: str) -> str | None:
        """The translation of the phrase that fits a whole text."""
        for phrase in self._phrases:
            values = phrase.values_of(text)
            if values is not None and self._meant(phrase, values, text):
                return self._said(phrase, values).format_map({name: self(value) for name, value in values.items()})
        return None

    @staticmethod
    def _meant(phrase: Phrase, values: Mapping[str, str], text: str) -> bool:
        """Whether a phrase that fits is to be believed: a count counts, and a few words do not swallow sentences."""
        if phrase.many and _number(values["number"]) is None:
            return False
        swallowed = any(mark in value for value in values.values() for mark in (": ", "; "))
        return not swallowed or phrase.fixed >= LEAST_FIXED * len(text)

    def _in_parts(self, text: str) -> str:
        """A text that is put together from several: what stands before and after a mark, in brackets, in a list."""
        if text[-1] in ".:":
            return self(text[:-1]) + text[-1]
        for mark in (": ", " (", "; ", ", "):
            head, found, tail = text.partition(mark)
            if found and mark != " (":
                return f"{self(head)}{mark}{self(tail)}"
            if found and tail.endswith(")") and "(" not in tail:
                return f"{self(head)} ({self(tail[:-1])})"
        return text

    def _said(self, phrase: Phrase, values: Mapping[str, str]) -> str:
        if not phrase.many:
            return self._catalogue.gettext(phrase.one)
        return self._catalogue.ngettext(phrase.one, phrase.many, _number(values["number"]) or 0)


def originals(catalogue: bytes) -> Iterator[tuple[str, ...]]:
    """Yield the texts that an MO file translates, each alone or as singular and plural.

    Parameters
    ----------
    catalogue : bytes

    References
    ----------
    GNU gettext manual, "The Format of GNU MO Files".
    """
    order = "<" if catalogue.startswith(LITTLE_ENDIAN) else ">"
    count, table = struct.unpack_from(f"{order}2I", catalogue, 8)
    for number in range(count):
        length, begin = struct.unpack_from(f"{order}2I", catalogue, table + 8 * number)
        yield tuple(catalogue[begin : begin + length].decode().split("\0"))


def _phrases(texts: tuple[str, ...]) -> Iterator[Phrase]:
    """A phrase for each form of a text; a help text may hold braces that are no values, and is none."""
    for text in texts:
        try:
            pieces = list(string.Formatter().parse(text))
        except ValueError:
            continue
        parts, names = [""], []
        for words, name, _, _ in pieces:
            parts[-1] += words
            if name is not None:
                names.append(name)
                parts.append("")
        if "".join(parts).strip():
            yield Phrase(tuple(parts), tuple(names), *texts)


def _number(word: str) -> int | None:
    """A count in digits or words; None if it is none."""
    if word.lower() in NUMBERS:
        return NUMBERS.index(word.lower())
    return int(word) if word.isdecimal() else None
