"""Who may come in, what may be sent, and the one form of an error.

Oracle: the access rules of the page (loopback, Host, Origin, token, word, limits), request by request.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from frusta.web.access import LARGEST_BODY, TRIES, Access
from frusta.web.app import make_app
from frusta.web.desk import Desk
from frusta.web.serving import hosts_of, token_of

TOKEN = "k" * 24
HOST = "127.0.0.1:8418"
Make = Callable[..., Any]


@pytest.fixture
def client(campaign: Path, web_for: Callable[..., Any]) -> Make:
    def make(*, word: str | None = None, where: str = "127.0.0.1") -> Any:
        access = Access(TOKEN, frozenset({HOST, "192.168.7.2:8418"}), word, session="s" * 24)
        app = make_app(Desk(campaign, "virtual:fast", 1), access)
        return web_for(app, f"http://{HOST}", where)

    return make


def test_nothing_is_shown_and_nothing_changed_without_the_token(client: Make, campaign: Path):
    web = client()
    before = (campaign / "materials.csv").read_bytes()
    for path in ("/cones", "/x/cones", f"/{TOKEN[:-1]}/cones", "/api/campaign", f"/{'K' * 24}/api/campaign"):
        assert web.get(path).status_code == 403
    assert web.put("/api/tables/materials", json={"material": "otter", "name": "Otter"}).status_code == 403
    assert (campaign / "materials.csv").read_bytes() == before
    assert web.get(f"/{TOKEN}/api/campaign").status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8418", "127.0.0.1", "127.0.0.1:80", ""])
def test_a_name_that_was_not_printed_is_refused(client: Make, host: str):
    assert client().get(f"/{TOKEN}/cones", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:9999", "http://127.0.0.1:8418.evil"]
)
def test_a_page_from_elsewhere_may_ask_for_nothing(client: Make, origin: str, campaign: Path):
    before = (campaign / "materials.csv").read_bytes()
    web = client()
    cells = {"material": "otter", "name": "Otter"}
    answer = web.put(f"/{TOKEN}/api/tables/materials", json=cells, headers={"origin": origin})
    assert answer.status_code == 403
    assert set(answer.json()["error"]) == {"what", "where", "what_to_do"}
    other = web.put(f"/{TOKEN}/api/tables/materials", json=cells, headers={"sec-fetch-site": "cross-site"})
    assert other.status_code == 403
    assert (campaign / "materials.csv").read_bytes() == before
    same = web.put(f"/{TOKEN}/api/tables/materials", json=cells, headers={"origin": f"http://{HOST}"})
    assert same.status_code == 200


def test_every_answer_carries_a_strict_policy(client: Make):
    web = client()
    for path in (f"/{TOKEN}/cones", f"/{TOKEN}/api/campaign", "/static/page.css", "/nowhere", f"/{TOKEN}/nowhere"):
        headers = web.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert not re.search(r"https?:", policy)
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


def test_no_page_holds_a_style_or_script_that_the_policy_would_refuse(client: Make):
    web = client()
    for room in ("bench", "cones", "cones?cone=rush-1", "differences", "next", "report", "import", "tables/rigs"):
        text = web.get(f"/{TOKEN}/{room}", headers={"accept": "text/html"}).text
        assert not re.search(r"\sstyle=", text), room
        assert not re.search(r"\son[a-z]+=", text), room
        assert not re.search(r"<script(?![^>]*(src=|application/json))", text), room
        assert not re.search(r"""(src|href)=["']?(https?:)?//""", text), room


def test_other_devices_need_the_word(client: Make):
    away = client(word="oak-reed-42", where="192.168.7.9")
    assert away.get(f"/{TOKEN}/cones").status_code == 403
    door = away.get("/")
    assert door.status_code == 200
    assert 'name="word"' in door.text
    assert away.post("/word", data={"word": "oak-reed-41"}).status_code == 403
    opened = away.post("/word", data={"word": " Oak-Reed-42 "})
    assert opened.status_code == 303
    cookie = opened.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert away.get(f"/{TOKEN}/cones").status_code == 200


def test_words_cannot_be_tried_out(client: Make):
    away = client(word="oak-reed-42", where="192.168.7.9")
    for _ in range(TRIES):
        assert away.post("/word", data={"word": "wrong"}).status_code == 403
    assert away.post("/word", data={"word": "oak-reed-42"}).status_code == 429


def test_without_share_there_is_no_door(client: Make):
    assert client(where="192.168.7.9").get("/").status_code == 403
    assert client(where="192.168.7.9").get(f"/{TOKEN}/cones").status_code == 403


def test_too_much_at_once_is_refused(client: Make):
    answer = client().put(f"/{TOKEN}/api/tables/materials", json={"notes": "x" * (LARGEST_BODY + 1)})
    assert answer.status_code == 413
    assert answer.json()["error"]["what"] == "More than 1 MB were sent at once."


@pytest.mark.parametrize("path", ["../../etc/passwd", "%2e%2e/%2e%2e/etc/passwd", "..%2fpage.css", "a\\..\\b"])
def test_no_path_of_a_client_is_opened(client: Make, path: str):
    web = client()
    for start in ("/static/", f"/{TOKEN}/tables/", f"/{TOKEN}/api/curves/", f"/{TOKEN}/cones/"):
        answer = web.get(start + path)
        assert answer.status_code in (403, 404, 422)
        assert "root:" not in answer.text


def test_errors_of_the_api_have_one_form(client: Make):
    web = client()
    answers = [
        web.get(f"/{TOKEN}/api/tables/nothing"),
        web.get(f"/{TOKEN}/api/nothing"),
        web.put(f"/{TOKEN}/api/tables/materials", content=b"{"),
        web.post(f"/{TOKEN}/api/bench/press", json={"event": "Exploded"}),
        web.post(f"/{TOKEN}/api/undo"),
    ]
    for answer in answers:
        assert answer.status_code in (404, 422)
        error = answer.json()["error"]
        assert set(error) == {"what", "where", "what_to_do"}
        assert error["what"].endswith(".")


def test_openapi_describes_every_call_that_the_page_makes(client: Make):
    web = client()
    paths = web.get(f"/{TOKEN}/api/openapi.json").json()["paths"]
    shapes = [re.sub(r"\{[^}]+\}", "[^/]+", p) for p in paths]
    text = "".join(
        f.read_text("utf-8")
        for folder in ("templates", "static")
        for f in (Path(__file__).parents[2] / "src/frusta/web" / folder).glob("*.*")
        if f.suffix in (".html", ".js") and not f.name.startswith("htmx")
    )
    text = re.sub(r"\{\{[^}]+\}\}|\$\{[^}]+\}", "x", text)
    used = set(re.findall(r"/api/[^\s\"'`?]+", text))
    assert len(used) > 15
    for call in used:
        assert any(re.fullmatch(shape, call) for shape in shapes), call


def test_the_key_is_kept_for_one_campaign_and_is_random(tmp_path: Path):
    first = token_of(tmp_path / "a")
    assert token_of(tmp_path / "a") == first
    assert token_of(tmp_path / "b") != first
    assert len(first) >= 32


def test_only_loopback_is_named_without_share():
    assert hosts_of(8418, False) == {"127.0.0.1:8418", "localhost:8418", "[::1]:8418"}
