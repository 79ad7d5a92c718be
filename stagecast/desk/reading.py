"""The pages that are read: today, the week, a field; and those made to be sent to others.

What is read at the desk never waits: it shows the last plan and says that a newer one is on its
way. What is sent to others is always of the newest.
"""

from __future__ import annotations

from collections.abc import Callable

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from stagecast.desk.frame import Frame, waits_text
from stagecast.desk.messages import page
from stagecast.desk.season import brief_page, overview_page, sheet_page
from stagecast.desk.shared import Desk, walked
from stagecast.desk.views import field_html, plan_html, week_html
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import season_route
from stagecast.words.notes import BROKEN, MOVING


def routes(desk: Desk) -> list[BaseRoute]:
    """The pages by address."""
    pages = ReadingPages(desk)
    return [
        Route("/", desk.first(pages.plan)),
        Route("/week", desk.first(pages.week)),
        Route("/field", desk.first(pages.field)),
        Route("/brief", desk.first(pages.brief)),
        Route("/overview", desk.first(pages.overview)),
        Route("/sheet", desk.first(pages.sheet)),
        Route("/progress", desk.first(pages.progress)),
    ]


class ReadingPages:
    """What nothing is sent to."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def plan(self, request: Request) -> Response:
        """What to decide and where to walk today."""
        return self._latest("Today", plan_html)

    def week(self, request: Request) -> Response:
        """The week's route."""
        return self._latest(
            "The week", lambda season, frame: week_html(season_route(season), frame)
        )

    def field(self, request: Request) -> Response:
        """One field."""
        field_id = self.desk.field(request)
        return self._latest(
            field_id, lambda season, frame: field_html(season, field_id, frame), field_id=field_id
        )

    def brief(self, request: Request) -> Response:
        """The page for the grower of a field."""
        field_id = self.desk.field(request)
        return self._newest("Page for the grower", lambda: brief_page(self.desk.season, field_id))

    def overview(self, request: Request) -> Response:
        """The whole season on a page."""
        return self._newest("The season", lambda: overview_page(self.desk.season))

    def sheet(self, request: Request) -> Response:
        """The sheet of a day, as a file for the phone; it takes the time that it takes."""
        asked = request.query_params
        made = sheet_page(self.desk.season, asked.get("day", ""), asked.get("scout", ""))
        text, day = walked(made)
        answer = page(text)
        name = f"sheet-{day.date.isoformat()}.html"
        answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
        return answer

    def progress(self, request: Request) -> Response:
        """How far a newer plan is; pages ask it by themselves.

        Asked of an entry, also whether what it moved is known.
        """
        try:
            latest = self.desk.season.latest(tells=False)
        except Exception:  # whatever it is, the page that was asked tells it
            return JSONResponse({"version": "", "waits": BROKEN, "broken": True})
        waits = waits_text(latest)
        asked = request.query_params.get("entry", "")
        if asked and not waits and self.desk.season.without(self.desk.entry(asked)) is None:
            waits = MOVING
        return JSONResponse({"version": latest.version, "waits": waits})

    def _latest(
        self, title: str, made: Callable[[SeasonDay, Frame], str], *, field_id: str = ""
    ) -> Response:
        """A page of the last plan; one that waits where there is none yet."""
        latest = self.desk.season.latest()
        if latest.season is None:
            return self.desk.waiting(latest, title)
        return page(made(latest.season, self.desk.frame(latest, field_id=field_id)))

    def _newest(self, title: str, made: Callable[[], str]) -> Response:
        """A page that is made to be sent: of the newest plan, or none yet."""
        latest = self.desk.season.latest()
        if latest.progress is not None:
            return self.desk.waiting(latest, title)
        return page(made())
