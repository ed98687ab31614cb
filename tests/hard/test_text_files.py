"""Tables, calibrations, zips and JSON of any content.

Oracle: the promises of reader_targets.py, held against valid files that were damaged and against any text; the fuzzer
(tools/fuzz_readers.py) goes on from here for as long as it is let.
"""

from __future__ import annotations

import json

from hypothesis import given, settings
from hypothesis import strategies as st
from reader_targets import TARGETS, calibration, document, package, small_zip, table

from frusta.campaign.rows import TABLES

TEXT = st.text(st.characters(codec="utf-8"), max_size=60)
HEADS = [",".join(model.model_fields) for model in TABLES.values()]
CELL = st.one_of(
    TEXT, st.sampled_from(("", "1", "-1", "1e999", "nan", "1,5", "rush-1", "=1+1", "\u202e", "\x1b[2J", '"'))
)


@settings(max_examples=150)
@given(
    st.integers(0, len(HEADS) - 1),
    st.lists(st.lists(CELL, max_size=9), max_size=4),
    st.sampled_from(",;\t"),
    st.booleans(),
)
def test_any_cells_under_a_known_header(number, rows, separator, quoted):
    def cell(text: str) -> str:
        return '"' + text.replace('"', '""') + '"' if quoted else text

    lines = [HEADS[number].replace(",", separator), *(separator.join(map(cell, row)) for row in rows)]
    table(bytes([number]) + "\r\n".join(lines).encode())


@settings(max_examples=100)
@given(st.binary(max_size=200))
def test_any_bytes(data):
    for target in TARGETS.values():
        target(data)


NUMBER = st.one_of(
    st.floats(allow_nan=False).map(repr),
    st.integers(-(10**6), 10**6).map(str),
    st.sampled_from(("", "1,5", "x", "1e999")),
)


@settings(max_examples=150)
@given(
    st.lists(st.one_of(st.tuples(NUMBER, NUMBER), st.tuples(NUMBER, NUMBER, NUMBER), st.tuples(TEXT)), max_size=8),
    st.sampled_from(("\t", ";", ",", " ", ", ")),
    st.sampled_from(("utf-8", "utf-8-sig", "utf-16", "latin-1")),
)
def test_any_lines_of_a_calibration(rows, separator, encoding):
    calibration("\n".join(separator.join(row) for row in rows).encode(encoding, "replace"))


NAMES = ("campaign.csv", "a/campaign.csv", "../x", "/etc/x", "a/../../x", "C:/x", "takes.csv", "a", "a/b", "..")


@settings(max_examples=80)
@given(
    st.dictionaries(
        st.one_of(
            st.sampled_from(
                ("campaign.csv", "a/campaign.csv", "../x", "/etc/x", "a/../../x", "C:/x", "takes.csv", "a", "a/b", "..")
            ),
            TEXT.filter(lambda name: name and "\0" not in name),
        ),
        st.one_of(st.just(b"campaign,title\nquay,Quay\n"), st.binary(max_size=50)),
        max_size=5,
    ),
    st.data(),
)
def test_any_zip_stays_in_its_place(files, data):
    whole = bytearray(small_zip(files))
    if data.draw(st.booleans()):
        at = data.draw(st.integers(0, len(whole) - 1))
        whole[at] = data.draw(st.integers(0, 255))
    package(bytes(whole))


KEYS = st.sampled_from(
    ("resources", "path", "bytes", "hash", "event", "session", "queue", "readings", "format", "take")
)
VALUES = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), TEXT, st.sampled_from(("takes.csv", "Began", "Recorded"))
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=3)),
    max_leaves=8,
)


@settings(max_examples=150)
@given(st.integers(0, 2), st.one_of(VALUES, st.dictionaries(KEYS, VALUES, max_size=4)))
def test_any_json(reader, value):
    document(bytes([reader]) + json.dumps(value).encode() + b"\n")
