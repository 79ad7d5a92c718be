"""The week's route as GPX 1.1, which navigation devices and apps read."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from stagecast.week.days import ScoutDay, WeekStop
from stagecast.week.week import WeekRoute
from stagecast.words.visits import look_for_texts
from stagecast.words.week import (
    clock_text,
    day_name,
    decide_texts,
    file_name_of,
    file_text,
    how_text,
)

NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SCHEMA = "http://www.w3.org/2001/XMLSchema-instance"


def gpx_text(week: WeekRoute) -> str:
    """One route per scout and day that has stops: home, the fields in order, home.

    Notes
    -----
    No moment is given as ``<time>``: GPX wants it in UTC, and the zone of a field is not known;
    the hours stand in the descriptions. Names of fields begin with their order on the day.
    Elements stand in the order of the schema.

    References
    ----------
    GPX 1.1 Schema Documentation, https://www.topografix.com/GPX/1/1/
    """
    root = ET.Element(
        "gpx",
        {
            "xmlns": NAMESPACE,
            "xmlns:xsi": _SCHEMA,
            "xsi:schemaLocation": f"{NAMESPACE} {NAMESPACE}/gpx.xsd",
            "version": "1.1",
            "creator": "stagecast",
        },
    )
    metadata = ET.SubElement(root, "metadata")
    _child(metadata, "name", f"Week from {week.first_day.isoformat()}")
    for number, day in enumerate((day for day in week.days if day.stops), start=1):
        _route(root, day, number, week)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, "unicode") + "\n"


def _route(root: ET.Element, day: ScoutDay, number: int, week: WeekRoute) -> None:
    route = ET.SubElement(root, "rte")
    _child(route, "name", day_name(day))
    _child(route, "number", str(number))
    leave, back = day.leave_home, day.back_home
    start = "home" if day.starts_at is None else day.starts_at.field_id
    _point(route, day.start, start, f"leave at {clock_text(leave)}" if leave else "")
    for order, stop in enumerate(day.stops, start=1):
        field = stop.plan.forecast.field
        place = field.latitude, field.longitude
        _point(route, place, f"{order} {file_name_of(stop.plan)}", _described(stop, week))
    _point(route, day.home, "home", f"back at {clock_text(back)}" if back else "")


def _described(stop: WeekStop, week: WeekRoute) -> str:
    hours = f"{clock_text(stop.arrive)}-{clock_text(stop.leave)}"
    how = how_text(stop, week.season.loaded.knowledge)
    return "\n".join([*decide_texts(stop.plan), f"{hours}, {how}", *look_for_texts(stop.look_for)])


def _point(route: ET.Element, place: tuple[float, float], name: str, told: str) -> None:
    latitude, longitude = place
    point = ET.SubElement(route, "rtept", lat=f"{latitude:.6f}", lon=f"{longitude:.6f}")
    _child(point, "name", name)
    if told:
        _child(point, "desc", told)


def _child(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = file_text(text)
