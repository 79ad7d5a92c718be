"""The pages that are made for other people too, as they stand when they are asked for."""

from __future__ import annotations

from html import escape

from stagecast.errors import SeasonProblems
from stagecast.outputs.desk.field_view import plan_of_field
from stagecast.outputs.desk.links import link
from stagecast.outputs.desk.season import DeskSeason
from stagecast.scouting.week_types import ScoutDay

_START = "<header>"


def brief_page(season: DeskSeason, field_id: str) -> str:
    """The grower's page of a field; SeasonProblems where no station can speak for it."""
    from stagecast.outputs.pages.brief import brief_html, brief_of
    from stagecast.scouting.field_heat import FieldHeat

    plan = season.plan()
    field = plan_of_field(plan, field_id)
    if field is None:
        raise SeasonProblems([p for p in plan.loaded.refused if p.field_id == field_id])
    text = brief_html(brief_of(plan, field, FieldHeat(plan, season.read())))
    return with_way_back(text, link("field", field=field_id), "Back to the field")


def overview_page(season: DeskSeason) -> str:
    """All fields of the season, with the week's route."""
    from stagecast.outputs.pages.overview import overview, overview_html
    from stagecast.scouting.season_curves import season_curves

    route = season.route()
    text = overview_html(overview(route, season_curves(route.season, season.read())))
    return with_way_back(text, "/", "Back to the fields")


def with_way_back(text: str, href: str, said: str) -> str:
    """A page that is made to be sent, with a way back to the desk above it; not in print."""
    bar = (
        '<nav class="no-print" aria-label="Desk" style="margin-bottom: .75rem">'
        f'<a href="{escape(href)}">{said}</a></nav>\n'
    )
    assert text.count(_START) == 1, "every page has one beginning of its own"
    return text.replace(_START, bar + _START)


def sheet_page(season: DeskSeason, date: str, scout: str) -> tuple[str, ScoutDay] | None:
    """The sheet of a day for the phone, and the day; None where no field is walked on it."""
    from stagecast.outputs.pages.sheet import sheet_html

    route = season.route()
    for day in route.days:
        if (day.date.isoformat(), day.scout) == (date, scout) and day.stops:
            return sheet_html(route, day), day
    return None
