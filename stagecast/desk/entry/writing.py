"""The pages that log: forms of visits and treatments, corrections, and what an entry means."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from stagecast.base.errors import SeasonProblems, StoreError
from stagecast.desk.entry.entries import entry_html
from stagecast.desk.entry.forms import (
    FORMS,
    Form,
    Kind,
    Typed,
    correction,
    filled_in,
    form_html,
    new_entries,
    read_form,
    wrong_form,
)
from stagecast.desk.messages import answer_to, link, page, to_ask
from stagecast.desk.shared import Desk, found
from stagecast.season.log.book import LogBook, NewEntries
from stagecast.season.log.entries import AnyEntry, entry_id, kind_of_entry

_STALE = "the desk was started anew since this form was opened: nothing is logged yet"


def routes(desk: Desk) -> list[BaseRoute]:
    """The pages by address."""
    pages = LogPages(desk)
    return [
        Route("/visit", desk.first(pages.form)),
        Route("/visit", pages.take_new, methods=["POST"]),
        Route("/treatment", desk.first(pages.form)),
        Route("/treatment", pages.take_new, methods=["POST"]),
        Route("/entry", desk.first(pages.entry)),
        Route("/correct", desk.first(pages.correct)),
        Route("/correct", pages.take_correction, methods=["POST"]),
    ]


class LogPages:
    """Forms, what is sent with them, and entries."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.season = desk.season

    def form(self, request: Request) -> Response:
        """An empty form."""
        kind = kind_of_path(request)
        values = {one.name: "" for one in FORMS[kind]} | {"date": self.season.as_of.isoformat()}
        form = Form(kind, self.desk.field(request), self.desk.form_token, values, fresh=True)
        return page(self._form_html(form))

    def correct(self, request: Request) -> Response:
        """The form of an entry, filled in."""
        entry = self.desk.entry(request.query_params.get("entry", ""))
        return page(self._form_html(self._form_of(entry)))

    def entry(self, request: Request) -> Response:
        """One entry of the log, and what it moved."""
        entry = self.desk.entry(request.query_params.get("entry", ""))
        again = request.query_params.get("again") == "1"
        return page(entry_html(self.season, entry, again=again))

    # -- what is sent --------------------------------------------------------------------

    def log_new(self, kind: Kind, typed: Typed) -> Response:
        """Log a visit or a treatment."""
        book = self.desk.book()
        field_id = found(lambda: book.field(typed.about))
        form = Form(kind, field_id, self.desk.form_token, typed.values)
        return self._log(form, typed, book, lambda: new_entries(book, field_id, typed, kind))

    def log_correction(self, entry: AnyEntry, typed: Typed) -> Response:
        """Log an entry in place of another one."""
        book = self.desk.book()
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
        if not self.desk.takes(typed.form_token):
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

    def _form_of(self, entry: AnyEntry, typed: Typed | None = None) -> Form:
        kind: Kind = "visit" if kind_of_entry(entry) == "visit" else "treatment"
        values = filled_in(entry) if typed is None else typed.values
        return Form(kind, entry.field_id, self.desk.form_token, values, entry_id(entry))

    def _form_html(self, form: Form) -> str:
        return form_html(form, self.season)

    async def take_new(self, request: Request) -> Response:
        """Take a form of something new."""
        body, kind = await request.body(), kind_of_path(request)
        return await self._taken(lambda: self.log_new(kind, read_form(body, kind)))

    async def take_correction(self, request: Request) -> Response:
        """Take a form of a correction."""
        body, asked = await request.body(), request.query_params.get("entry", "")

        def corrected() -> Response:
            entry = self.desk.entry(asked)
            kind: Kind = "visit" if kind_of_entry(entry) == "visit" else "treatment"
            return self.log_correction(entry, read_form(body, kind))

        return await self._taken(corrected)

    async def _taken(self, take: Callable[[], Response]) -> Response:
        """What was sent, taken while a plan on its way stands still."""

        def taken() -> Response:
            with self.season.planner.aside():
                return take()

        return await run_in_threadpool(taken)


def kind_of_path(request: Request) -> Kind:
    """Whether it is about a visit or a treatment."""
    return "treatment" if request.url.path == "/treatment" else "visit"
