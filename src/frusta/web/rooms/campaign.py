"""The campaign as a whole: tables row by row, undo, long work; and how a new one begins."""

from __future__ import annotations

import re
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import HTMLResponse, Response

from frusta.bench.tables import edit_table
from frusta.campaign.column_units import unit_of
from frusta.campaign.importing import slug_of
from frusta.campaign.rows import TABLES, Row
from frusta.campaign.starting import start_package
from frusta.campaign.tables import bounds_of, cell_text, kind_of_column, words_of
from frusta.errors import ParameterError
from frusta.web.views import Views

Cells = Annotated[dict[str, str | float | int | None], Body()]
TABLE_NAMES = {
    "campaign": "The question",
    "materials": "Materials",
    "recipes": "Recipes",
    "profiles": "Cone profiles",
    "rigs": "Rigs",
    "sessions": "Sessions",
    "sweeps": "Sweeps",
    "specimens": "Specimens",
    "coupons": "Coupons",
    "history": "History",
    "takes": "Takes",
    "overhangs": "Overhangs",
}


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    desk = views.desk

    @routes.get("/api/campaign", tags=["campaign"])
    def campaign() -> dict[str, Any]:
        """Return the campaign's row, how many rows each table has, and every fault."""
        opened = desk.opened
        return {
            "campaign": opened.package.campaign.model_dump(),
            "tables": {name: len(opened.package.rows(name)) for name in TABLES},
            "faults": [
                {"fault": f.fault, "where": f.where, "what": f.what, "what_to_do": f.what_to_do} for f in opened.faults
            ],
        }

    @routes.post("/api/campaign", tags=["campaign"])
    def begin(title: Annotated[str, Body()], question: Annotated[str, Body()] = "") -> dict[str, Any]:
        """Start a campaign in the folder that is open, or in a new one within it."""
        key = slug_of(title)
        folder = desk.path if not desk.path.exists() or not any(desk.path.iterdir()) else desk.path / key
        start_package(folder)
        edit_table(folder, "campaign", [{"campaign": key, "title": title, "question": question}], ["my-cones"])
        desk.switch(folder)
        return {"said": f"Started {title} in {folder.name}.", "go": "/tables/materials"}

    @routes.get("/api/tables/{table}", tags=["campaign"])
    def rows(table: str) -> dict[str, Any]:
        """Return the rows of a table as they could be read."""
        return {"table": _table(table), "rows": [row.model_dump() for row in desk.package.rows(table)]}

    @routes.put("/api/tables/{table}", tags=["campaign"])
    def put(table: str, cells: Cells) -> dict[str, Any]:
        """Put a row: by its key where the table has one, else at the end."""
        model = TABLES[_table(table)]
        filled = {str(c): cell_text(v) for c, v in cells.items()}
        root = desk.writable
        key = model.KEY
        if key is None:
            filled = {c: v for c, v in filled.items() if v}
            said = f"Added to {TABLE_NAMES[table].lower()}: {', '.join(list(filled.values())[:3])}."
            desk.edits.append(desk.package, root, table, filled, said)
        else:
            if not filled.get(key):
                raise ParameterError(f"{key} must be filled (it is empty); give the row a short key")
            held = {getattr(r, key) for r in desk.package.rows(table)}
            said = f"{'Changed' if filled[key] in held else 'Added'} {filled[key]}."
            desk.edits.put(desk.package, root, table, filled, said)
        return {"said": said, "undo": True}

    @routes.delete("/api/tables/{table}/{key}", tags=["campaign"])
    def drop(table: str, key: str) -> dict[str, Any]:
        """Take a row out; what names it then has a fault, and undo brings it back."""
        model = TABLES[_table(table)]
        if model.KEY is None or key not in {getattr(r, model.KEY) for r in desk.package.rows(table)}:
            raise ParameterError(f"{table}.csv has no row {key[:64]!r} to take out; reload the page")
        desk.edits.drop(desk.writable, table, key, f"Took {key} out of {table}.")
        return {"said": f"Took {key} out.", "undo": True}

    @routes.post("/api/undo", tags=["campaign"])
    def undo() -> dict[str, Any]:
        """Take the last change of a table back."""
        return {"said": f"Taken back: {desk.edits.undo()}"}

    @routes.get("/api/works", tags=["work"])
    def works() -> list[dict[str, Any]]:
        """Return all long work and how far it is."""
        return [work.body() for work in desk.works.all()]

    @routes.post("/api/works/reading/start", tags=["work"])
    def read() -> dict[str, Any]:
        """Read all takes that changed."""
        desk.read_takes()
        return {"said": "", "refresh": True}

    @routes.post("/api/works/{name}/stop", tags=["work"])
    def stop(name: str) -> dict[str, Any]:
        """Stop a piece of long work."""
        desk.works.stop(name)
        return {"said": "", "refresh": True}

    @routes.get("/api/findings", tags=["campaign"])
    def findings() -> Response:
        """Return the findings as `frusta analyse --json` writes them."""
        from frusta.campaign.output import findings_json

        known = desk.look()
        if known is None:
            raise ParameterError("the takes must have been read first (they are not); start reading, or wait for it")
        return Response(findings_json(known.findings), media_type="application/json")

    @routes.get("/reading", response_class=HTMLResponse, include_in_schema=False)
    def reading(request: Request, was: str = "") -> HTMLResponse:
        told = views.reading_work()
        answer = views.render("reading.html", request, **told)
        if was == "running" and (told["work"] is None or told["work"].standing != "running"):
            # the strip stays until the whole room is drawn anew, so that nothing moves twice
            answer.headers["hx-trigger"] = "frusta-read"
            answer.headers["hx-reswap"] = "none"
        return answer

    @routes.get("/tables/{table}", response_class=HTMLResponse, include_in_schema=False)
    def table_page(request: Request, table: str, row: str = "") -> HTMLResponse:
        package, model = desk.package, TABLES[_table(table)]
        held = list(package.rows(table))
        chosen = next((r for r in held if model.KEY and getattr(r, model.KEY) == row), None)
        if table == "campaign":
            chosen = package.campaign
        shown = [c for c in model.model_fields if any(getattr(r, c) is not None for r in held)][:8]
        return views.page(
            "table.html",
            request,
            "cones",
            TABLE_NAMES[table],
            table=table,
            names=TABLE_NAMES,
            key=model.KEY,
            shown=shown,
            rows=[[cell_text(getattr(r, c)) for c in shown] for r in held[:500]],
            fields=fields_of(views, model, chosen),
            chosen=row if chosen else "",
            faults=[f for f in desk.opened.faults if f.table == table],
            editable=(),
        )

    return routes


def fields_of(
    views: Views, model: type[Row], row: Row | None, fixed: frozenset[str] = frozenset()
) -> list[dict[str, Any]]:
    """Return the columns of a table as fields of a form.

    Parameters
    ----------
    views : Views
    model : type of Row
    row : Row or None
        What fills them.
    fixed : frozenset of str
        Columns that are shown but not changed.
    """
    found = []
    for column, info in model.model_fields.items():
        words: tuple[str, ...] = words_of(model, column)
        if column in model.LINKS:
            words = tuple(getattr(views.desk.package, model.LINKS[column]))
        name, unit = column_words(column)
        kind = kind_of_column(model, column)
        found.append(
            {
                "column": column,
                "name": name,
                "unit": unit,
                "value": "" if row is None else cell_text(getattr(row, column)),
                "words": words,
                "needed": info.is_required(),
                "fixed": column in fixed or (row is not None and column == model.KEY),
                "number": kind in ("number", "whole"),
                "least": bounds_of(model, column).get("ge"),
            }
        )
    return found


def column_words(column: str) -> tuple[str, str]:
    """Return a column's name in words, and its unit.

    >>> column_words("neck_radius_mm"), column_words("notes")
    (('Neck radius', 'mm'), ('Notes', ''))
    """
    known = {
        "speed_mm_s": "Speed",
        "suspension_stiffness_n_mm": "Suspension stiffness",
        "neck_stiffness_n_um": "Neck stiffness",
        "density_kg_m3": "Density",
        "suspension_resistance_ns_m": "Suspension resistance",
        "mass_g": "Mass without coil",
        "mass_u_g": "Uncertainty of the mass",
    }
    unit = unit_of(column)
    stem = column.rpartition("_")[0] if unit else column
    return known.get(column, stem.replace("_", " ").capitalize()), unit


def _table(name: str) -> str:
    if not re.fullmatch(r"[a-z]{1,20}", name) or name not in TABLES:
        raise ParameterError(f"there is no table {name[:40]!r}; use one of {', '.join(TABLES)}")
    return name
