"""The list of all fields that stands beside every page of the desk, made once for each plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.steps import step
from stagecast.desk.messages import link
from stagecast.pages.needs import NEEDS, Need, need_key, need_marks, need_of
from stagecast.pages.render import environment
from stagecast.screens.plan import crop_windows_text, pests_text
from stagecast.screens.screen import closed_short, day_text, name_of, next_stage_text
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import WeekRoute, fields_by_need, season_route, walk_of
from stagecast.words.fields import undated_text
from stagecast.words.week import clock_text, walk_text

PESTS_SHOWN = 4


@dataclass(frozen=True, slots=True)
class FieldLine:
    """One field in the list of all.

    ``stop``: its place among today's stops, from 1, and when it is reached; 0 and "" without one.
    """

    field_id: str
    name: str
    grower: str
    walk: str
    now: str
    following: str
    window: str
    pests: str
    closed: str
    stop: int = 0
    at: str = ""

    @property
    def href(self) -> str:
        """The page of the field."""
        return link("field", field=self.field_id)


def lines_by_need(season: SeasonDay) -> list[tuple[Need, list[FieldLine]]]:
    """The fields of each need; what waits for a decision comes first, then as needs press.

    Needs without a field are left out.
    """
    grouped: dict[Need, list[FieldLine]] = {need: [] for need in NEEDS}
    stops = _stops_today(season_route(season))
    for field in fields_by_need(season):
        step()
        grouped[need_of(field)].append(_line(field, *stops.get(field.field_id, (0, ""))))
    return [(need, lines) for need, lines in grouped.items() if lines]


def _stops_today(route: WeekRoute) -> dict[str, tuple[int, str]]:
    """Field -> its place among today's stops, and when it is reached, with the scout's name."""
    today = [day for day in route.days if day.date == route.season.as_of]
    stops = ((stop, day.scout) for day in today for stop in day.stops)
    return {
        stop.field_id: (number, " ".join(filter(None, (clock_text(stop.arrive), scout))))
        for number, (stop, scout) in enumerate(stops, start=1)
    }


def _line(field: FieldDay, stop: int, at: str) -> FieldLine:
    forecast = field.forecast
    return FieldLine(
        field_id=forecast.field.field_id,
        name=name_of(field),
        grower=forecast.field.grower,
        walk=walk_said(field),
        now=forecast.stage_now,
        following=next_stage_text(field),
        window=crop_windows_text(field),
        pests=pests_text(field, most=PESTS_SHOWN),
        closed=closed_short(field),
        stop=stop,
        at=at,
    )


def walk_said(field: FieldDay) -> str:
    """The day of the route with its weekday, and the rule's beside it."""
    walk = walk_of(field)
    if walk.due is None:
        return ""
    return walk_text(walk, day_text=lambda day: day_text(day, weekday=True))


def listing(season: SeasonDay) -> Markup:
    """The list as it stands on a page."""

    def made() -> Markup:
        return list_html(lines_by_need(season), undated=undated_text(season.loaded.season))

    return season.once("desk list", made)


def list_html(groups: Sequence[tuple[Need, Sequence[FieldLine]]], *, undated: str = "") -> Markup:
    """The lines of each need; ``undated`` names the fields that wait for a planting date."""
    template = environment().get_template("desk_list.html")
    text = template.render(
        groups=[(NEEDS[need], need, lines) for need, lines in groups],
        count=sum(len(lines) for _, lines in groups),
        marks=need_marks(),
        need_key=need_key,
        undated=undated,
    )
    return Markup(text)


def with_current(made: Markup, field_id: str) -> Markup:
    """The list with a field marked as the one that the page is about."""
    link_to = Markup('href="{}"').format(link("field", field=field_id))
    current = link_to + Markup(' aria-current="page"')
    return Markup(made.replace(link_to + Markup(">"), current + Markup(">"), 1))
