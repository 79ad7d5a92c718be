"""Alerts as a document and as a calendar that phones may subscribe to."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Collection, Sequence
from typing import Any

from icalendar import Calendar, Event

from stagecast.visits.season_day import SeasonDay
from stagecast.week.alerts import Alert
from stagecast.words.morning import alert_text, do_text, place_text
from stagecast.words.week import file_text

Document = dict[str, Any]
PRODID = "-//stagecast//alerts//EN"
CALENDAR_MARK = PRODID.encode()
"""What a file that may be written over has near its beginning."""


def alerts_document(
    season: SeasonDay, alerts: Sequence[Alert], *, new: Collection[str]
) -> Document:
    """Every alert with a stable key; ``new`` are the keys of those told for the first time."""
    return {
        "as_of": season.as_of.isoformat(),
        "alerts": [_keys(alert, alert.key in new) for alert in alerts],
    }


def _keys(alert: Alert, new: bool) -> Document:
    return {
        "key": alert.key,
        "new": new,
        "level": alert.level,
        "field_id": None if alert.field is None else alert.field.field_id,
        "station": alert.station,
        "first": alert.first.isoformat(),
        "last": alert.last.isoformat(),
        "lapses": alert.lapses.isoformat(),
        "what": alert_text(alert),
        "do": do_text(alert),
    }


def alerts_calendar(season: SeasonDay, alerts: Sequence[Alert]) -> bytes:
    """All-day events, one per alert, from its first to its last day.

    Notes
    -----
    The same alerts give the same bytes: UID is made of the season's year and the alert's key, and
    DTSTAMP, which RFC 5545 asks for, is the morning of the day asked for. A phone that subscribes
    again changes nothing.

    References
    ----------
    RFC 5545, iCalendar (2009), sections 3.6.1 and 3.8.7.2, https://www.rfc-editor.org/rfc/rfc5545
    """
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Fields {season.settings.year}")
    stamp = dt.datetime.combine(season.as_of, dt.time(), dt.UTC)
    for alert in alerts:
        digest = hashlib.sha256(f"{season.settings.year} {alert.key}".encode()).hexdigest()[:16]
        event = Event()
        event.add("uid", f"{digest}@alerts.stagecast")
        event.add("dtstamp", stamp)
        event.add("dtstart", alert.first)
        event.add("dtend", max(alert.first, alert.last) + dt.timedelta(days=1))
        event.add("summary", file_text(f"{place_text(alert)}: {alert_text(alert)}"))
        event.add("description", file_text(do_text(alert)))
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())
