"""The week's route as GeoJSON, which maps and geographic information systems read."""

from __future__ import annotations

from typing import Any

from stagecast.files.season import to_json
from stagecast.files.week import day_keys, left_out_keys, stop_keys
from stagecast.season.tables.fields import Field
from stagecast.week.days import ScoutDay
from stagecast.week.week import WeekRoute
from stagecast.words.week import above_texts, file_name_of, file_text

Feature = dict[str, Any]

DECIMALS = 6
"""Of degrees: a tenth of a metre."""


def geojson_text(week: WeekRoute) -> str:
    """A line per scout and day that has stops; a point per stop, field left out and home.

    First come the fields over a threshold that wait for a decision, walked in the week or not.

    Notes
    -----
    Positions are longitude, latitude on WGS 84, and no ``crs`` is given. A line joins home, the
    fields and home by straight strokes: it says the order, not the roads. ``kind`` among the
    properties tells the features apart; the ``name`` of a stop begins with its order on the day.

    References
    ----------
    RFC 7946, The GeoJSON Format (2016), https://www.rfc-editor.org/rfc/rfc7946
    """
    walking = [day for day in week.days if day.stops]
    homes = dict.fromkeys(day.home for day in week.days)
    features = [
        *_to_decide(week),
        *(_feature("home", _point(*home), {}) for home in homes),
        *(_line(day) for day in walking),
        *(stop for day in walking for stop in _stops(day, week)),
        *(_left_out(week)),
    ]
    # RFC 7946, section 6.1, lets further members stand beside those it names; by this one a file
    # of ours is known again.
    return to_json({"type": "FeatureCollection", "creator": "stagecast", "features": features})


def _to_decide(week: WeekRoute) -> list[Feature]:
    return [
        _feature(
            "decide",
            _at(plan.forecast.field),
            {
                "field_id": plan.field_id,
                "name": file_name_of(plan),
                "found": file_text("; ".join(found)),
            },
        )
        for plan, found in above_texts(week.above)
    ]


def _line(day: ScoutDay) -> Feature:
    fields = [stop.plan.forecast.field for stop in day.stops]
    places = [day.start, *((field.latitude, field.longitude) for field in fields), day.home]
    line = {"type": "LineString", "coordinates": [_position(*place) for place in places]}
    return _feature("drive", line, day_keys(day))


def _stops(day: ScoutDay, week: WeekRoute) -> list[Feature]:
    return [
        _feature(
            "stop",
            _at(stop.plan.forecast.field),
            {
                "name": f"{order} {file_name_of(stop.plan)}",
                "date": day.date.isoformat(),
                "scout": day.scout,
                "order": order,
            }
            | stop_keys(stop, day, week),
        )
        for order, stop in enumerate(day.stops, start=1)
    ]


def _left_out(week: WeekRoute) -> list[Feature]:
    made = []
    for left in week.left_out:
        field = left.plan.forecast.field
        names = {"field_name": field.field_name, "grower": field.grower}
        made.append(_feature("left out", _at(field), left_out_keys(left) | names))
    return made


def _feature(kind: str, geometry: dict[str, Any], properties: dict[str, Any]) -> Feature:
    return {"type": "Feature", "geometry": geometry, "properties": {"kind": kind, **properties}}


def _at(field: Field) -> dict[str, Any]:
    return _point(field.latitude, field.longitude)


def _point(latitude: float, longitude: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": _position(latitude, longitude)}


def _position(latitude: float, longitude: float) -> list[float]:
    return [round(longitude, DECIMALS), round(latitude, DECIMALS)]
