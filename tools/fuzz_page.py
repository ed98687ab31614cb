"""Ask the page everything that its own description allows, and much that it does not; needs schemathesis.

    pip install schemathesis
    nice -n 15 python tools/fuzz_page.py --examples 100

The app is asked in this process, on a small campaign in a temporary folder with the virtual rig; nothing is served and
nothing leaves the machine. Wrong is: an answer of 500 and above, a status or a content type that the description does
not name, a body of another form. Prints each finding once and a line of figures; exit code 1 if there is any. The
stream of bench events never ends by itself and is left out.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

HARD = Path(__file__).resolve().parents[1] / "tests" / "hard"
TOKEN = "k" * 24
ENDLESS = ("/api/bench/events",)


def asking(one: Any, name: str) -> Any:
    """A function of the case alone, as hypothesis wants it."""

    def ask(case: Any) -> None:
        one(name, case)

    return ask


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    wanted.add_argument("--examples", type=int, default=100)
    told = wanted.parse_args()
    place = Path(tempfile.mkdtemp(prefix="frusta-page-"))
    for name in ("FRUSTA_CACHE", "FRUSTA_CONFIG", "FRUSTA_STATE"):
        os.environ[name] = str(place / name)
    sys.path[:0] = [str(HARD), str(HARD.parent / "publish")]
    import schemathesis
    from hypothesis import HealthCheck, Phase, given, settings
    from schemathesis import checks
    from workshop import Workshop, invent

    from frusta.campaign.lessons import package_digest
    from frusta.material.learned import Learned
    from frusta.web.access import Access
    from frusta.web.app import make_app
    from frusta.web.desk import Desk
    from frusta.web.kept_analysis import Known

    made = invent(place / "quay", Workshop(materials=2, profiles=1))
    desk = Desk(place / "quay", "virtual:fast", 1)
    desk.at_bench = True  # nothing is read by itself: what is asked of findings is answered from these
    desk.known = Known(made.findings, made.curves, Learned(), package_digest(desk.package), desk.package)
    app = make_app(desk, Access(TOKEN, frozenset({"testserver"})))
    schema = schemathesis.openapi.from_asgi(f"/{TOKEN}/api/openapi.json", app)
    held = (
        checks.not_a_server_error,
        *(
            checks.CHECKS.get_one(n)
            for n in ("status_code_conformance", "content_type_conformance", "response_schema_conformance")
        ),
    )
    asked: Counter[str] = Counter()
    statuses: Counter[int] = Counter()
    found: dict[str, str] = {}

    def one(name: str, case: schemathesis.Case) -> None:
        asked[name] += 1
        try:
            answer = case.call()
        except Exception as error:  # the app's own, which a server would answer with 500
            statuses[500] += 1
            words = f"{type(error).__name__}: {error}".replace("\n", " ")[:300]
            found.setdefault(f"{name}: 500 {words[:60]}", f"{words} | {case.as_curl_command()[:300]}")
            return
        statuses[answer.status_code] += 1
        try:
            case.validate_response(answer, checks=list(held))
        except (Exception, BaseExceptionGroup) as error:
            each = getattr(error, "exceptions", [error])
            first = " / ".join(" ".join(str(e).split()) for e in each)
            found.setdefault(f"{name}: {answer.status_code}", f"{first[:400]} | {case.as_curl_command()[:300]}")

    settled = settings(
        max_examples=told.examples,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    for result in schema.get_all_operations():
        operation = result.ok()
        if operation.path not in ENDLESS:
            name = f"{operation.method.upper()} {operation.path}"
            settled(given(case=operation.as_strategy())(asking(one, name)))()
            print(name, asked[name], flush=True)
    for key, words in found.items():
        print(f"FOUND {key}\n  {words}")
    total, by_status = sum(asked.values()), dict(sorted(statuses.items()))
    print(f"{total} requests to {len(asked)} calls, by status {by_status}; {len(found)} findings")
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
