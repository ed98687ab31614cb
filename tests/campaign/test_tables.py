"""Tables as spreadsheets write them. Oracle: the design's page on the package; round trips by hypothesis."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frusta.campaign.rows import TABLES, Material, Row, Take
from frusta.campaign.spreadsheet import decode, read_raw
from frusta.campaign.tables import bounds_of, cell_text, kind_of_column, plain_number, read_table, words_of, write_table
from frusta.errors import PackageError

PLAIN = "material,name,density_kg_m3,poisson,colour\nfir,Fir,1200.5,0.36,grün\n"
FIR = Material(material="fir", name="Fir", density_kg_m3=1200.5, poisson=0.36, colour="grün")


@pytest.mark.parametrize(
    "data",
    [
        PLAIN.encode(),
        PLAIN.encode("utf-8-sig"),
        PLAIN.replace("\n", "\r\n").encode(),
        PLAIN.replace("\n", "\r").encode(),
        PLAIN.replace(",", ";").replace(".", ",").encode(),
        PLAIN.replace(",", ";").encode(),
        PLAIN.replace(",", "\t").encode(),
        PLAIN.replace(",", "\t").encode("utf-16"),
        PLAIN.replace(",", "\t").replace("1200.5", "1200,5").encode("utf-16"),
        b"\xfe\xff" + PLAIN.encode("utf-16-be"),
        ("sep=;\n" + PLAIN.replace(",", ";")).encode(),
        PLAIN.replace("material,name", " Material , NAME ").encode(),
        PLAIN.replace("\n", ",,\n").encode(),
        (PLAIN + ",,,,\n\n").encode(),
        PLAIN.replace("Fir", '"Fir"').replace("1200.5", " 1200.5\u00a0").encode(),
    ],
    ids=lambda d: repr(d[:24]),
)
def test_every_way_of_spreadsheets_reads_the_same(data):
    table = read_table(Material, data)
    assert table.faults == ()
    assert table.rows == (FIR,)
    assert table.rows[0].model_extra == {"colour": "grün"}


def test_writing_is_plain():
    assert write_table(Material, [FIR]) == PLAIN.encode()


@pytest.mark.parametrize(
    ("data", "place"),
    [
        (b"material,name\nfir,f\xfcr\n", "byte 20, line 2, is 0xfc"),
        (b"\xef\xbb\xbfmaterial,name\nfir,f\xfcr\n", "byte 23, line 2, is 0xfc"),
        (PLAIN.encode("utf-16-le"), "byte 2, line 1, is 0x00"),
        (PLAIN.encode("utf-32"), "UTF-32"),
        (b"\xff\xfem\x00a", "byte 5"),
    ],
)
def test_other_encodings_are_refused_with_their_place(data, place):
    with pytest.raises(PackageError, match=r"materials\.csv: must be .*" + place):
        decode("materials.csv", data)


@pytest.mark.parametrize(
    ("text", "separator", "plain"),
    [
        ("1,5", ";", "1.5"),
        ("1,5", ",", None),
        ("1,5", "\t", "1.5"),
        ("1,234", "\t", None),
        ("0,234", "\t", "0.234"),
        ("1.234,5", ";", None),
        ("1,2,3", ";", None),
        ("−3.5", ",", "-3.5"),
        ("1 200", ",", None),
        ("1\u202f200", ",", "1200"),
        ("1e-3", ",", "1e-3"),
        ("nan", ",", None),
        ("inf", ",", None),
        ("0x10", ",", None),
        ("1_000", ",", None),
        ("٣", ",", None),
        ("#DIV/0!", ",", None),
        ("7 g", ",", None),
    ],
)
def test_numbers(text, separator, plain):
    assert plain_number(text, separator) == plain


def lines_of(model: type[Row], text: str) -> list[str]:
    return [str(f) for f in read_table(model, text.encode()).faults]


def test_every_fault_of_a_table_is_told_with_row_and_column():
    text = "material,name,density_kg_m3,poisson\nfir,Fir,heavy,0.36\n"
    text += "Oak!,Oak,-3,0.7\n,Elm,1,\nash,,NaN,\n\nash,Ash,1e999,\n"
    assert lines_of(Material, text) == [
        "materials.csv, row 2, column density_kg_m3: must be a number (got 'heavy'); "
        "write the bare number, or leave the cell empty where it is not known",
        "materials.csv, row 3, column material: must be a key: a-z, 0-9, '.', '_' or '-', a letter or digit first, "
        "at most 64 long (got 'Oak!'); rename it, here and wherever it is named",
        "materials.csv, row 3, column density_kg_m3: must be above 0 (got -3); mind the unit in the column's name, or "
        "leave the cell empty where it is not known",
        "materials.csv, row 3, column poisson: must be above -1 and below 0.5 (got 0.7); mind the unit in the column's "
        "name, or leave the cell empty where it is not known",
        "materials.csv, row 4, column material: must be filled (the cell is empty); fill it",
        "materials.csv, row 5, column density_kg_m3: must be a number (got 'NaN'); "
        "write the bare number, or leave the cell empty where it is not known",
        "materials.csv, row 5, column name: must be filled (the cell is empty); fill it",
        "materials.csv, row 7, column density_kg_m3: must be a finite number (got inf); correct it",
    ]


def test_duplicate_keys_name_the_first():
    (line,) = lines_of(Material, "material,name\nfir,Fir\nfir,Fir again\n")
    assert line.startswith(
        "materials.csv, row 3, column material: must be there once (got 'fir' again, first in row 2)"
    )


def test_words_are_read_in_either_case_and_told():
    head = "take,specimen,seating,recording,recording_is\n"
    assert read_table(Take, (head + "a,fir-1,1.0,a.wav,Sweep\n").encode()).rows[0].recording_is == "sweep"
    (line,) = lines_of(Take, head + "a,fir-1,1,a.wav,song\n")
    assert "must be sweep, impulse or tap (got song)" in line


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "must begin with a line of column names"),
        ("  \n", "must begin with a line of column names"),
        ("material,material\n", "row 1, column material: must be there once"),
        ('material,name\n"fir,Fir\n', "matching quotes"),
        ("material,name\nfir,Fir\n" + '"' + "x" * 200_000 + '"', "matching quotes"),
    ],
)
def test_tables_that_cannot_be_parsed(text, match):
    with pytest.raises(PackageError, match=match):
        read_raw("materials", text.encode(), ("material", "name"))


def test_missing_columns_and_stray_cells_are_told():
    assert lines_of(Material, "material\nfir\n") == [
        "materials.csv, row 1, column name: must be there (the header has no such column); add it"
    ]
    (line,) = lines_of(Material, "material,name\nfir,Fir, but red\n")
    assert "row 2: must have at most 2 cells, as the header has (got 3)" in line
    (line,) = lines_of(Material, "material,,name\nfir,x,Fir\n")
    assert "row 2: must have a name over every filled column" in line


def test_a_header_alone_is_an_empty_table():
    table = read_table(Material, b"material,name\n")
    assert table.rows == table.faults == ()


_TEXT = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=20).map(str.strip)
_WORDS = _TEXT.filter(bool)
_SLUG = st.from_regex(r"[a-z0-9][a-z0-9._-]{0,63}", fullmatch=True)


def _cell(model: type[Row], column: str) -> st.SearchStrategy[object]:
    match kind_of_column(model, column):
        case "word":
            return st.sampled_from(words_of(model, column))
        case "slug":
            return _SLUG
        case "number":
            below_0 = bounds_of(model, column).get("le") == 0
            return st.floats(-60, -1e-6) if below_0 else st.floats(1e-6, 0.49)
        case "whole":
            return st.integers(44100, 192000)
        case _:
            return _WORDS


@st.composite
def _rows(draw: st.DrawFn) -> tuple[type[Row], list[Row]]:
    model = draw(st.sampled_from(list(TABLES.values())))
    keys = draw(st.lists(_SLUG, max_size=4, unique=True))
    extra = draw(st.lists(_WORDS.filter(lambda n: n.lower() not in model.model_fields), max_size=2, unique=True))
    rows = []
    for key in keys:
        values: dict[str, object] = {}
        for column, field in model.model_fields.items():
            if field.is_required() or draw(st.booleans()):
                values[column] = key if column == model.KEY else draw(_cell(model, column))
        values |= {name: draw(_TEXT) for name in extra}
        rows.append(model.model_validate(values))
    return model, rows


@given(_rows(), st.sampled_from(",;\t"), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
def test_rows_survive_every_way_of_writing(pair, separator, encoding):
    model, rows = pair
    plain = write_table(model, rows)
    assert list(read_table(model, plain).rows) == rows
    cells = list(csv.reader(io.StringIO(plain.decode(), newline="")))
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows(cells)
    again = read_table(model, out.getvalue().encode(encoding))
    assert again.faults == ()
    assert list(again.rows) == rows
    assert write_table(model, again.rows) == plain


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_lose_no_digit(value):
    assert float(plain_number(cell_text(value), ",") or "") == value


@given(st.binary(max_size=300))
def test_no_bytes_make_it_crash(data):
    for model in (Material, Take):
        assert all(str(f).isprintable() for f in read_table(model, data).faults)
