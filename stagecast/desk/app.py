"""The desk as an application: its pages by address, and what is said when something fails."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable
from typing import cast

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from stagecast.base.errors import StagecastError
from stagecast.desk import board, reading
from stagecast.desk.editing import edit
from stagecast.desk.entry import writing
from stagecast.desk.exchange import drop, letters, phone
from stagecast.desk.guard import Guard
from stagecast.desk.messages import broken_html, message_html, page
from stagecast.desk.season import DeskSeason
from stagecast.desk.shared import Desk

PAGES: tuple[Callable[[Desk], list[BaseRoute]], ...] = (
    reading.routes,
    writing.routes,
    board.routes,
    drop.routes,
    edit.routes,
    phone.routes,
    letters.routes,
)
"""Each module of pages gives its own."""


def desk_app(
    season: DeskSeason,
    *,
    token: str | None = None,
    form_token: str | None = None,
    address: str = "",
) -> Guard:
    """The application.

    ``token``: every request needs it, as where others on the network may ask; default: this
    computer's own names are answered, and no other.
    ``form_token``: default a new one, from the system's source of secrets.
    ``address``: where other devices find the desk, with the token.
    """
    desk = Desk(season, form_token=form_token or secrets.token_urlsafe(), address=address)
    routes: list[BaseRoute] = [route for pages in PAGES for route in pages(desk)]
    routes.append(Route("/favicon.ico", lambda request: Response(status_code=204)))
    return Guard(Starlette(routes=routes, exception_handlers=HANDLERS), token=token)


def _told(request: Request, error: Exception) -> Response:
    return page(broken_html(cast(StagecastError, error)), 409)


def _unreadable(request: Request, error: Exception) -> Response:
    known = cast(OSError, error)
    sentence = f"A file cannot be read or written: {known.strerror or known}."
    return page(message_html("The season folder needs a look", [sentence], nav=True), 409)


def _http(request: Request, error: Exception) -> Response:
    known = cast(HTTPException, error)
    if known.status_code == 404:
        told = known.detail if known.detail != "Not Found" else "There is no such page."
        return page(message_html("Not here", told.split("\n"), nav=True), 404)
    told = "This page does not take what was sent to it."
    return page(message_html("Not here", [told], nav=True), known.status_code)


def _failed(request: Request, error: Exception) -> Response:
    sentences = [
        "The desk made a mistake; what was logged before is safe.",
        "What happened stands where the desk was started.",
    ]
    return page(message_html("This went wrong", sentences, nav=True), 500)


Handler = Callable[[Request, Exception], Response | Awaitable[Response]]

HANDLERS: dict[int | type[Exception], Handler] = {
    StagecastError: _told, OSError: _unreadable, HTTPException: _http, Exception: _failed,
}  # fmt: skip
