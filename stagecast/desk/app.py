"""The desk as an application: its pages by address, and what is sent to them."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import TypeVar, cast

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from stagecast.base.errors import SeasonProblems, StagecastError, StoreError
from stagecast.desk.drop import Drop
from stagecast.desk.entries import entry_html
from stagecast.desk.forms import (
    CALLED,
    FORMS,
    Form,
    Kind,
    Typed,
    correction,
    form_html,
    new_entries,
    read_form,
    values_of,
    wrong_form,
)
from stagecast.desk.guard import Guard, same_secret
from stagecast.desk.messages import answer_to, broken_html, link, message_html, page, to_ask
from stagecast.desk.season import DeskSeason, brief_page, overview_page, sheet_page
from stagecast.desk.views import field_html, plan_html, week_html
from stagecast.season.log.book import LogBook, NewEntries
from stagecast.season.log.entries import AnyEntry, entry_id, kind_of_entry

_STALE = "the desk was started anew since this form was opened: nothing is logged yet"

T = TypeVar("T")


class Desk:
    """The pages of one season.

    ``form_token``: stands in every form of this process; what comes without it is not taken.
    """

    def __init__(self, season: DeskSeason, *, form_token: str) -> None:
        self.season = season
        self.form_token = form_token

    # -- pages ---------------------------------------------------------------------------

    def plan(self, request: Request) -> Response:
        """All fields by need."""
        return page(plan_html(self.season.plan()))

    def week(self, request: Request) -> Response:
        """The week's route."""
        return page(week_html(self.season.route()))

    def field(self, request: Request) -> Response:
        """One field."""
        field_id = self._field(request)
        return page(field_html(self.season.plan(), field_id))

    def brief(self, request: Request) -> Response:
        """The page for the grower of a field."""
        return page(brief_page(self.season, self._field(request)))

    def overview(self, request: Request) -> Response:
        """The whole season on a page."""
        return page(overview_page(self.season))

    def sheet(self, request: Request) -> Response:
        """The sheet of a day, as a file for the phone."""
        asked = request.query_params
        found = sheet_page(self.season, asked.get("day", ""), asked.get("scout", ""))
        if found is None:
            raise HTTPException(404, "No field is walked on this day.")
        text, day = found
        answer = page(text)
        name = f"sheet-{day.date.isoformat()}.html"
        answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
        return answer

    def form(self, request: Request) -> Response:
        """An empty form."""
        kind = kind_of_path(request)
        values = {one.name: "" for one in FORMS[kind]} | {"date": self.season.as_of.isoformat()}
        form = Form(kind, self._field(request), self.form_token, values, fresh=True)
        return page(self._form_html(form))

    def correct(self, request: Request) -> Response:
        """The form of an entry, filled in."""
        entry = self._entry(request.query_params.get("entry", ""))
        return page(self._form_html(self._form_of(entry)))

    def entry(self, request: Request) -> Response:
        """One entry of the log, and what it moved."""
        asked = entry_id(self._entry(request.query_params.get("entry", "")))
        again = request.query_params.get("again") == "1"
        return page(entry_html(self.season, self._book(), asked, again=again))

    # -- what is sent --------------------------------------------------------------------

    def log_new(self, kind: Kind, typed: Typed) -> Response:
        """Log a visit or a treatment."""
        book = self._book()
        field_id = _found(lambda: book.field(typed.about))
        form = Form(kind, field_id, self.form_token, typed.values)
        return self._log(form, typed, book, lambda: new_entries(book, field_id, typed, kind))

    def log_correction(self, entry: AnyEntry, typed: Typed) -> Response:
        """Log an entry in place of another one."""
        book = self._book()
        form = self._form_of(entry, typed)
        return self._log(form, typed, book, lambda: correction(book, entry, typed), old=entry)

    def _log(
        self,
        form: Form,
        typed: Typed,
        book: LogBook,
        make: Callable[[], NewEntries],
        *,
        old: AnyEntry | None = None,
    ) -> Response:
        """Log what was typed and show it; or the form again, with all that is wrong or odd."""
        if not same_secret(typed.form_token, self.form_token):
            step = "look it over and send it again"
            error = SeasonProblems.of("Form", _STALE, next_step=step)
            return page(self._form_html(wrong_form(form, error)), 403)
        try:
            entries = make()
            asked = to_ask(entries, as_of=self.season.as_of, old=old)
            if asked and typed.answer != answer_to(asked):
                return page(self._form_html(replace(form, asked=asked)), 422)
            recorded = book.record(entries, entered_at=self.season.clock())
        except SeasonProblems as error:
            return page(self._form_html(wrong_form(form, error)), 422)
        except StoreError as error:
            kept = SeasonProblems.of(error.path, error.reason, next_step=error.next_step)
            return page(self._form_html(wrong_form(form, kept)), 409)
        (entry,) = recorded.entries
        again = {} if recorded.new else {"again": "1"}
        return RedirectResponse(link("entry", entry=entry_id(entry), **again), 303)

    # -- what both need ------------------------------------------------------------------

    def _book(self) -> LogBook:
        return self.season.book(called=CALLED)

    def _field(self, request: Request) -> str:
        """The field asked for, as fields.csv writes it."""
        book, asked = self._book(), request.query_params.get("field", "")
        return _found(lambda: book.field(asked))

    def _entry(self, asked: str) -> AnyEntry:
        book = self._book()
        return _found(lambda: book.entry(asked))

    def _form_of(self, entry: AnyEntry, typed: Typed | None = None) -> Form:
        kind: Kind = "visit" if kind_of_entry(entry) == "visit" else "treatment"
        values = values_of(entry) if typed is None else typed.values
        return Form(kind, entry.field_id, self.form_token, values, entry_id(entry))

    def _form_html(self, form: Form) -> str:
        return form_html(form, self.season)

    async def take_new(self, request: Request) -> Response:
        """Take a form of something new."""
        body, kind = await request.body(), kind_of_path(request)
        return await run_in_threadpool(lambda: self.log_new(kind, read_form(body, kind)))

    async def take_correction(self, request: Request) -> Response:
        """Take a form of a correction."""
        body, asked = await request.body(), request.query_params.get("entry", "")

        def taken() -> Response:
            entry = self._entry(asked)
            kind: Kind = "visit" if kind_of_entry(entry) == "visit" else "treatment"
            return self.log_correction(entry, read_form(body, kind))

        return await run_in_threadpool(taken)


def kind_of_path(request: Request) -> Kind:
    """Whether it is about a visit or a treatment."""
    return "treatment" if request.url.path == "/treatment" else "visit"


def desk_app(
    season: DeskSeason, *, token: str | None = None, form_token: str | None = None
) -> Guard:
    """The application.

    ``token``: every request needs it, as where others on the network may ask; default: this
    computer's own names are answered, and no other.
    ``form_token``: default a new one, from the system's source of secrets.
    """
    desk = Desk(season, form_token=form_token or secrets.token_urlsafe())
    routes = [
        Route("/", desk.plan),
        Route("/week", desk.week),
        Route("/field", desk.field),
        Route("/brief", desk.brief),
        Route("/overview", desk.overview),
        Route("/sheet", desk.sheet),
        Route("/visit", desk.form),
        Route("/visit", desk.take_new, methods=["POST"]),
        Route("/treatment", desk.form),
        Route("/treatment", desk.take_new, methods=["POST"]),
        Route("/entry", desk.entry),
        Route("/correct", desk.correct),
        Route("/correct", desk.take_correction, methods=["POST"]),
        *Drop(season, desk.form_token).routes(),
        Route("/favicon.ico", lambda request: Response(status_code=204)),
    ]
    return Guard(Starlette(routes=routes, exception_handlers=HANDLERS), token=token)


def _found(look: Callable[[], T]) -> T:
    """What is looked for; the page of what is not there where it is not."""
    try:
        return look()
    except SeasonProblems as error:
        raise HTTPException(404, "\n".join(error.sentences())) from error


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
