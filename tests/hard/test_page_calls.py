"""Every call of the page, asked with values that nobody would send: told in one form, never a slip of frusta's own.

Oracle: the page's own OpenAPI description: status, kind of content and, of an error, its one form. Each value is put in
the place of each parameter and each cell of each body in turn; tools/fuzz_page.py goes on from here at random, and what
it found (bounds tried on nothing, lengths of 1e169 mm, files that the description called JSON) is covered here. The
stream of events never ends by itself and is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from asking import Asked
from hard_package import make_small_package

ENDLESS = "/api/bench/events"
ODD_WORDS = ("", "nan", "-inf", "1e169", "-1", "0", "..", "\u202e\x00", "x" * 400, "rush-1")
ODD_VALUES: tuple[Any, ...] = (None, "", "nan", "1,5", -1, 1e300, 2**70, [], {}, [[None]], True, "x" * 3000, "\ud800")
METHODS = ("get", "put", "post", "patch", "delete")


@pytest.fixture(scope="module")
def asked(tmp_path_factory) -> Iterator[Asked]:
    patch = pytest.MonkeyPatch()
    place = tmp_path_factory.mktemp("calls")
    for name in ("FRUSTA_CACHE", "FRUSTA_CONFIG"):
        patch.setenv(name, str(place / name))
    yield Asked(make_small_package(place / "quay"))
    patch.undo()


@pytest.fixture(scope="module")
def description(asked) -> dict[str, Any]:
    return asked("GET", "/api/openapi.json").json()


def _properties(description: dict[str, Any], schema: dict[str, Any]) -> dict[str, Any]:
    while "$ref" in schema:
        schema = description["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    return dict.fromkeys(schema.get("properties", {"material": 0, "name": 0}))


def _requests(description: dict[str, Any], path: str, call: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Paths with their options: a plain one, then each odd value in each place."""
    parameters = call.get("parameters", [])
    body = call.get("requestBody", {}).get("content", {})
    in_path = [p["name"] for p in parameters if p["in"] == "path"]
    in_query = [p["name"] for p in parameters if p["in"] == "query"]
    plain = path
    for name in in_path:
        plain = plain.replace(f"{{{name}}}", "materials" if name == "table" else "1")
    yield plain, {"json": {}} if body else {}
    for word in ODD_WORDS:
        for name in in_query:
            yield plain, {"params": {name: word}}
        if in_path and word and ".." not in word:
            odd = path
            for name in in_path:
                odd = odd.replace(f"{{{name}}}", word.replace("\x00", "%00").replace("\u202e", "%E2%80%AE"))
            yield odd, {"json": {}} if body else {}
    if "application/json" in body:
        names = _properties(description, body["application/json"]["schema"])
        for value in ODD_VALUES:
            yield plain, {"content": _json(value), "headers": {"content-type": "application/json"}}
            for name in names:
                yield plain, {"content": _json({name: value}), "headers": {"content-type": "application/json"}}
    if body:
        for content in (b"", b"{", b"\xff\xfe", b"[" * 20_000, b"--x\r\nbroken"):
            for kind in ("application/json", "multipart/form-data; boundary=x", "multipart/form-data", "text/plain"):
                yield plain, {"content": content, "headers": {"content-type": kind}}


def _json(value: Any) -> bytes:
    import json

    return json.dumps(value).encode("ascii")


def _calls(description: dict[str, Any]) -> list[tuple[str, str]]:
    return [(m, p) for p, calls in description["paths"].items() for m in METHODS if m in calls and p != ENDLESS]


def test_no_value_in_any_place_makes_a_slip(asked, description):
    wrong, count = [], 0
    for method, path in _calls(description):
        call = description["paths"][path][method]
        for where, options in _requests(description, path, call):
            answer = asked(method.upper(), where, **options)
            count += 1
            kind = answer.headers.get("content-type", "").partition(";")[0]
            told = call["responses"].get(str(answer.status_code))
            if told is None or (answer.content and kind not in told.get("content", {})):
                wrong.append(f"{method} {where} {options}: {answer.status_code} {kind} {answer.text[:150]}"[:400])
            elif answer.status_code >= 400:
                assert set(answer.json()["error"]) == {"what", "where", "what_to_do"}, (method, where, options)
    assert wrong == []
    assert count > 1000
    assert len(_calls(description)) > 25


def test_the_description_names_every_refusal(description):
    for method, path in _calls(description):
        assert {"403", "404", "413", "421", "422"} <= set(description["paths"][path][method]["responses"]), path
    assert "HTTPValidationError" not in str(description)


def test_tables_are_as_they_were_but_for_what_is_allowed(asked):
    """All that odd values may have done is to add rows that tables can hold: the package is still one."""
    assert asked.desk.opened.faults == ()
    assert Path(asked.desk.path, "campaign.csv").exists()
