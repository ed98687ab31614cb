"""Stub."""
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from frusta.web.views import Views

def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    @routes.get("/next", response_class=HTMLResponse, include_in_schema=False)
    def room(request: Request) -> HTMLResponse:
        return views.page("empty.html", request, "next", "Next cone", says="Soon.")
    return routes
