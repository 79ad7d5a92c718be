"""The week as a board: days by scouts, and a field put on another day or scout and held there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from stagecast.base.units import distance_text
from stagecast.desk.messages import link
from stagecast.desk.sent import read_texts
from stagecast.desk.shared import Desk
from stagecast.screens.screen import name_of
from stagecast.season.locks import Lock, put, read_locks
from stagecast.visits.season_day import SeasonDay
from stagecast.week.days import ScoutDay
from stagecast.week.trial import Placing, days_with, trials
from stagecast.week.week import WeekRoute, season_route
from stagecast.words.week import (
    clock_text,
    dollars_text,
    fields_text,
    held_texts,
    hours_text,
    left_out_text,
    lost_text,
    shift_text,
    trial_text,
)

STALE = "the desk was started anew since this page was opened: nothing was moved yet"
NOT_CHOSEN = "choose a day first"


def routes(desk: Desk) -> list[BaseRoute]:
    """The board, and the page on which a field is moved."""
    pages = BoardPages(desk)
    return [
        Route("/board", pages.board),
        Route("/board/move", pages.move),
        Route("/board/move", pages.take, methods=["POST"]),
    ]


class BoardPages:
    """The week's days and scouts, and what moving a field comes to."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def board(self, request: Request) -> Response:
        """The board; while it is planned anew, with what was moved since."""
        latest = self.desk.season.latest()
        if latest.season is None:
            return self.desk.waiting(latest, "The week as a board")
        route = season_route(latest.season)
        locks = read_locks(self.desk.season.folder)
        known = latest.season.loaded.season.locks
        moved = {name: lock for name, lock in locks.items() if known.get(name) != lock}
        days = days_with(route, moved) if moved else route.days
        dates = sorted({day.date for day in days})
        scouts = list(dict.fromkeys(day.scout for day in days))
        held = {**{n: lock for n, lock in route.held.items() if n in locks}, **moved}
        cells = {(day.date, day.scout): _cell(day, route, held) for day in days}
        return self.desk.page(
            "desk_board.html",
            latest=latest,
            here="week",
            scripts=("desk_board.js",),
            title="The week as a board",
            scouts=scouts,
            named=scouts != [""],
            days=[
                (shift_text(date, ""), [cells.get((date, scout)) for scout in scouts])
                for date in dates
            ],
            left=[
                {
                    "id": one.field_id,
                    "name": name_of(one.plan),
                    "move": link("board/move", field=one.field_id),
                    "why": left_out_text(one.why),
                    "lost": dollars_text(one.waiting.left_out),
                }
                for one in route.left_out
                if one.field_id not in moved
            ],
            told=list(held_texts(route)),
            others=[
                (one.field_id, name_of(one))
                for one in route.season.fields
                if one.field_id in route.not_due and one.field_id not in moved
            ],
        )

    def move(self, request: Request) -> Response:
        """Where a field may be put, and what each comes to."""
        field_id, to = self.desk.field(request), request.query_params.get("to", "")
        return self._move_page(field_id, to=to)

    async def take(self, request: Request) -> Response:
        """Put a field somewhere, or let the route decide again."""
        field_id, texts = self.desk.field(request), read_texts(await request.body())
        return await run_in_threadpool(lambda: self._take(field_id, texts))

    def _take(self, field_id: str, texts: Mapping[str, str]) -> Response:
        to = texts.get("to", "")
        if not self.desk.takes(texts.get("form_token", "")):
            return self._move_page(field_id, to=to, wrong=STALE, status=403)
        season = self.desk.season.planned()
        where = None if texts.get("act") == "free" else _shift(season_route(season), to)
        if texts.get("act") != "free" and where is None:
            return self._move_page(field_id, to=to, wrong=NOT_CHOSEN, status=422)
        lock = None
        if where is not None:
            day, scout = where
            lock = Lock(day=day, scout=scout, seen=self._last_visit(season, field_id))
        put(self.desk.season.folder, field_id, lock, as_of=season.as_of)
        return RedirectResponse("/board", 303)

    def _last_visit(self, season: SeasonDay, field_id: str) -> dt.date | None:
        """The last visit to a field, also one that was logged since the season was planned."""
        plan = season.find(field_id)
        visit = None if plan is None else plan.last_visit
        logged = self.desk.season.standing_log().of_field(field_id).up_to(season.as_of).visits
        days = [one.date for one in logged if one.looked]
        return max([*days, *([] if visit is None else [visit.date])], default=None)

    def _move_page(self, field_id: str, *, to: str, wrong: str = "", status: int = 200) -> Response:
        latest = self.desk.season.latest()
        if latest.season is None:
            return self.desk.waiting(latest, "Move a field")
        route = season_route(latest.season)
        plan = latest.season.find(field_id)
        if plan is None:
            raise HTTPException(404, f"Nothing is planned for {field_id} just now.")
        lock = read_locks(self.desk.season.folder).get(field_id)
        now = "" if lock is None else _value(lock.day, lock.scout)
        found = trials(route, field_id) or [Placing(day.date, day.scout) for day in route.days]
        due = field_id not in route.not_due
        places = [
            {
                "value": _value(one.date, one.scout),
                "head": shift_text(one.date, one.scout),
                "told": trial_text(one) if due else "",
                "closed": one.closed,
                "picked": _value(one.date, one.scout) == (to or now),
            }
            for one in found
        ]
        return self.desk.page(
            "desk_move.html",
            latest=latest,
            status=status,
            here="week",
            field_id=field_id,
            title=f"Move {name_of(plan)}",
            token=self.desk.form_token,
            wrong=wrong,
            places=places,
            due=due,
            held="" if lock is None else shift_text(lock.day, lock.scout),
        )


def _value(day: dt.date, scout: str) -> str:
    return f"{day.isoformat()} {scout}"


def _shift(route: WeekRoute, to: str) -> tuple[dt.date, str] | None:
    """The day and scout of a choice, if anybody works then."""
    return next(((d.date, d.scout) for d in route.days if _value(d.date, d.scout) == to), None)


def _cell(day: ScoutDay, route: WeekRoute, held: Mapping[str, Lock]) -> dict[str, Any]:
    """One scout's day on the board."""
    parts = [fields_text(len(day.stops))]
    if day.leave_home is not None and day.back_home is not None:
        units = route.season.settings.units
        parts.append(f"{clock_text(day.leave_home)}\u2013{clock_text(day.back_home)}")
        parts.append(f"{distance_text(day.drive_km, units)} in {hours_text(day.drive_min)}")
    return {
        "value": _value(day.date, day.scout),
        "scout": day.scout,
        "told": ", ".join(parts),
        "stops": [
            {
                "id": stop.field_id,
                "time": clock_text(stop.arrive),
                "name": name_of(stop.plan),
                "move": link("board/move", field=stop.field_id),
                "held": stop.field_id in held,
                "lost": lost_text(stop.waiting.until(day.date)),
            }
            for stop in day.stops
        ],
    }
