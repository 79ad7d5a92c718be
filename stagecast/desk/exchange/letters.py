"""Letters and sheets: to read, to print in one go, and what went out when."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from stagecast.desk.messages import link, page
from stagecast.desk.season import with_way_back
from stagecast.desk.sent import read_texts
from stagecast.desk.shared import Desk, found
from stagecast.pages.growers.letter import (
    Letter,
    fields_without_grower,
    letter_html,
    letter_of,
    letters_of,
)
from stagecast.pages.render import on_one_page
from stagecast.screens.screen import day_text
from stagecast.season.handed import keep_handed, read_handed
from stagecast.season.outbox import read_post
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import season_route
from stagecast.words.morning import message_head, message_state
from stagecast.words.week import fields_text, shift_text

STALE = "the desk was started anew since this page was opened: nothing was noted yet"
TITLE = "Letters and sheets"
SHOWN_MESSAGES = 30
EVERY = "every"
_noting = threading.Lock()


def routes(desk: Desk) -> list[BaseRoute]:
    """The list, a letter, and all of them to print."""
    pages = LetterPages(desk)
    return [
        Route("/letters", pages.listed),
        Route("/letters", pages.take, methods=["POST"]),
        Route("/letters/one", pages.one),
        Route("/letters/all", pages.all_),
    ]


class LetterPages:
    """What goes to growers and into the truck."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def listed(self, request: Request) -> Response:
        """Growers with their letters, days with their sheets, and the messages that went out."""
        return self._listed()

    def _listed(self, *, wrong: str = "", status: int = 200) -> Response:
        latest = self.desk.season.latest()
        if latest.season is None:
            return self.desk.waiting(latest, TITLE)
        season, folder = latest.season, self.desk.season.folder
        handed = read_handed(folder)
        letters = letters_of(season)
        route = season_route(season)
        messages = sorted(read_post(folder).messages, key=lambda one: one.day, reverse=True)
        return self.desk.page(
            "desk_letters.html",
            latest=latest,
            status=status,
            here="letters",
            title=TITLE,
            token=self.desk.form_token,
            every=EVERY,
            wrong=wrong,
            letters=[
                {
                    "grower": one.grower,
                    "href": link("letters/one", grower=one.grower),
                    "told": fields_text(len(one.fields) + len(one.without)),
                    "sent": [day_text(d, weekday=True) for d in handed.get(one.grower, ())][-3:],
                }
                for one in letters
            ],
            nobody=fields_without_grower(season),
            days=[
                {
                    "title": shift_text(day.date, day.scout),
                    "told": fields_text(len(day.stops)),
                    "sheet": link("sheet", day=day.date.isoformat(), scout=day.scout),
                    "phone": link("phone", day=day.date.isoformat(), scout=day.scout),
                }
                for day in route.days
                if day.stops
            ],
            messages=[
                (day_text(one.day, weekday=True), message_head(one), message_state(one))
                for one in messages[:SHOWN_MESSAGES]
            ],
            more=max(0, len(messages) - SHOWN_MESSAGES),
        )

    def one(self, request: Request) -> Response:
        """The letter to one grower, of the newest plan."""
        asked = request.query_params.get("grower", "")
        return self._newest(lambda season: letter_html(found(lambda: letter_of(season, asked))))

    def all_(self, request: Request) -> Response:
        """Every letter on one page, each on paper of its own."""
        return self._newest(
            lambda season: on_one_page([letter_html(one) for one in _letters(season)])
        )

    def _newest(self, made: Callable[[SeasonDay], str]) -> Response:
        latest = self.desk.season.latest()
        if latest.progress is not None or latest.season is None:
            return self.desk.waiting(latest, TITLE)
        return page(with_way_back(made(latest.season), "/letters", f"Back to {TITLE.lower()}"))

    async def take(self, request: Request) -> Response:
        """Note that letters were handed over."""
        texts = read_texts(await request.body())
        return await run_in_threadpool(lambda: self._take(texts))

    def _take(self, texts: Mapping[str, str]) -> Response:
        if not self.desk.takes(texts.get("form_token", "")):
            return self._listed(wrong=STALE, status=403)
        season = self.desk.season.planned()
        growers = [one.grower for one in letters_of(season)]
        asked = texts.get("grower", "")
        if texts.get("act") != EVERY and asked not in growers:
            return self._listed(wrong=f"there is no letter to {asked}", status=422)
        with _noting:
            to = growers if texts.get("act") == EVERY else [asked]
            keep_handed(self.desk.season.folder, to, season.as_of)
        return RedirectResponse("/letters", 303)


def _letters(season: SeasonDay) -> tuple[Letter, ...]:
    letters = letters_of(season)
    if not letters:
        raise HTTPException(404, "No field names a grower in fields.csv.")
    return letters
