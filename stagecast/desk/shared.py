"""What all pages of the desk share: its season, the token of its forms, and the frame."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from stagecast.base.errors import SeasonProblems, StagecastError
from stagecast.desk.entry.forms import CALLED
from stagecast.desk.frame import ALONE, Frame, frame_of, framed, waiting_html
from stagecast.desk.guard import same_secret
from stagecast.desk.messages import page
from stagecast.desk.season import DeskSeason, Latest
from stagecast.season.log.book import LogBook
from stagecast.season.log.entries import AnyEntry, entry_id

T = TypeVar("T")


class Desk:
    """One season at the desk.

    ``form_token``: stands in every form of this process; what comes without it is not taken.
    ``address``: where other devices find the desk, with the token that lets them in; "" where they
    may not.
    """

    def __init__(self, season: DeskSeason, *, form_token: str, address: str = "") -> None:
        self.season = season
        self.form_token = form_token
        self.address = address

    def first(self, made: Callable[[Request], Response]) -> Callable[[Request], Response]:
        """A page whose reader waits: a plan on its way stands still until it is made."""

        def page_made(request: Request) -> Response:
            with self.season.planner.aside():
                return made(request)

        return page_made

    def takes(self, form_token: str) -> bool:
        """Whether a form is one of ours, of this process."""
        return same_secret(form_token, self.form_token)

    def frame(self, latest: Latest | None = None, *, field_id: str = "") -> Frame:
        """The list beside a page; a blank one where the season cannot be planned just now."""
        try:
            return frame_of(latest or self.season.latest(), field_id=field_id)
        except StagecastError:
            return ALONE

    def page(
        self,
        template: str,
        *,
        latest: Latest | None = None,
        field_id: str = "",
        status: int = 200,
        **values: Any,
    ) -> Response:
        """A page in the frame; ``values`` as :func:`framed` takes them.

        ``latest``: the plan that the page shows, where it shows one: the frame is of the same.
        """
        return page(framed(template, self.frame(latest, field_id=field_id), **values), status)

    def waiting(self, latest: Latest, title: str) -> Response:
        """The page of something that is not worked out yet; it goes on by itself."""
        return page(waiting_html(self.frame(latest), title))

    def book(self) -> LogBook:
        """The log, and what its entries may name."""
        return self.season.book(called=CALLED)

    def field(self, request: Request) -> str:
        """The field asked for, as fields.csv writes it."""
        book, asked = self.book(), request.query_params.get("field", "")
        return found(lambda: book.field(asked))

    def entry(self, asked: str) -> AnyEntry:
        """The entry asked for."""
        every = self.season.every_entry()
        entries: list[AnyEntry] = [*every.visits, *every.treatments]
        known = next((one for one in entries if entry_id(one) == asked), None)
        return known or found(lambda: self.book().entry(asked))


def walked(day: T | None) -> T:
    """What there is of a scout's day; the page of what is not there where no field is walked."""
    if day is None:
        raise HTTPException(404, "No field is walked on this day.")
    return day


def found(look: Callable[[], T]) -> T:
    """What is looked for; the page of what is not there where it is not."""
    try:
        return look()
    except SeasonProblems as error:
        raise HTTPException(404, "\n".join(error.sentences())) from error
