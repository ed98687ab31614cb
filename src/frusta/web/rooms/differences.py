"""Stub."""
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from frusta.web.views import Views

def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    @routes.get("/differences", response_class=HTMLResponse, include_in_schema=False)
    def room(request: Request) -> HTMLResponse:
        return views.page("empty.html", request, "differences", "Differences", says="Soon.")
    return routes
