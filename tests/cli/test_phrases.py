"""Printed lines and errors in an invented language.

Oracle: a catalogue written here by hand, with another order of words and three plural forms; Babel writes the MO files.
"""

from __future__ import annotations

import io
import struct
from pathlib import Path

import pytest
from babel.messages import Catalog
from babel.messages.mofile import write_mo
from shell import frusta

from frusta.campaign.counts import counted, things
from frusta.cli import say
from frusta.cli.phrases import Phrases, originals

ONE, TWO = "{number} take", "{number} takes"
TEXTS = {
    "{path}: must be a package, folder or zip (there is none); correct the path": "mankas: {path}",
    "must be one of {join} (got {value})": "ne {value}, sed {join}",
    "correct it": "ŝanĝu ĝin",
    "no fault found": "nenio",
    "Written: {place}": "Skribita: {place}",
    "{a} breaks up {by} higher than {b}": "{b}: {a} krakas {by} pli alte",
    "{x} of {y}": "malpli",
    "{takes} to repeat:": "denove {takes}:",
    "four": "kvar",
}


def catalogue() -> bytes:
    texts = Catalog(locale="pl", charset="utf-8")  # Polish counts in three forms: 1; 2 to 4; 5 and more
    for text, said in TEXTS.items():
        texts.add(text, said)
    texts.add((ONE, TWO), ("{number} preno", "{number} prenoj", "{number} da prenoj"))
    file = io.BytesIO()
    write_mo(file, texts)
    return file.getvalue()


@pytest.fixture(scope="module")
def phrases() -> Phrases:
    return Phrases(catalogue())


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("no fault found", "nenio"),
        ("  Written: a/b.json", "  Skribita: a/b.json"),
        ("Rook breaks up 11 % higher than Owl", "Owl: Rook krakas 11 % pli alte"),
        ("takes.csv, row 2, column kind: must be one of a, b (got c); correct it", None),
        ("/x: no fault found (1 take, 3 takes)", "/x: nenio (1 preno, 3 prenoj)"),
        ("No fault found.", "Nenio."),
        ("nothing that is known", "nothing that is known"),
        ("", ""),
        ("   ", "   "),
        ("3.2 (4)", "3.2 (4)"),
    ],
)
def test_a_line_is_known_by_its_fixed_words(phrases: Phrases, line: str, said: str | None) -> None:
    if said is None:
        said = "takes.csv, row 2, column kind: ne c, sed a, b; ŝanĝu ĝin"
    assert phrases(line) == said


@pytest.mark.parametrize(("number", "said"), [(1, "1 preno"), (3, "3 prenoj"), (5, "5 da prenoj"), (22, "22 prenoj")])
def test_a_count_takes_the_plural_of_the_language(phrases: Phrases, number: int, said: str) -> None:
    assert phrases(counted(number, "take")) == said


def test_a_count_in_words_inside_a_heading(phrases: Phrases) -> None:
    assert phrases("Four takes to repeat:") == "denove Kvar prenoj:"
    assert phrases(f"{things(4, 'take')}") == "kvar prenoj"


def test_of_two_phrases_the_one_with_more_fixed_words_is_meant(phrases: Phrases) -> None:
    assert phrases("Rook of Oslo breaks up 3 % higher than Owl") == "Owl: malpli krakas 3 % pli alte"
    assert phrases("a of b") == "malpli"


def test_originals_are_read_in_either_byte_order() -> None:
    little = catalogue()
    (count,) = struct.unpack_from("<I", little, 8)
    begin, table, said = (struct.unpack_from("<I", little, at)[0] for at in (0, 12, 16))
    assert begin == 0x950412DE
    big = bytearray(little)
    words = [*range(0, 28, 4), *(at for t in (table, said) for at in range(t, t + 8 * count, 4))]
    for at in words:
        big[at : at + 4] = big[at : at + 4][::-1]
    assert list(originals(bytes(big))) == list(originals(little))
    assert (ONE, TWO) in set(originals(little))
    assert Phrases(bytes(big))("no fault found") == "nenio"


def spoken(tmp_path: Path) -> dict[str, str]:
    place = tmp_path / "eo" / "LC_MESSAGES"
    place.mkdir(parents=True)
    (place / "frusta.mo").write_bytes(catalogue())
    return {"FRUSTA_TRANSLATIONS": str(tmp_path), "LANGUAGE": "eo", "LANG": "eo", "PYTHONUTF8": "1"}


def test_commands_and_errors_speak_it(unrecorded: Path, tmp_path: Path) -> None:
    language = spoken(tmp_path / "language")
    done = frusta("check", unrecorded, **language)
    assert done.returncode == 0, done.stderr
    assert f"{unrecorded}: nenio (" in done.stdout
    lost = frusta("check", tmp_path / "nowhere", **language)
    assert lost.returncode == 2
    assert lost.stderr == f"frusta: mankas: {tmp_path / 'nowhere'}\n"
    plain = frusta("check", unrecorded, LANGUAGE="en")
    assert "no fault found (1 material" in plain.stdout


def test_commands_print_by_say_alone() -> None:
    """What is printed otherwise cannot be said in another language."""
    folder = Path(say.__file__).parent
    found = [path.name for path in sorted(folder.glob("*.py")) if "typer.echo(" in path.read_text("utf-8")]
    assert found == ["say.py"]
