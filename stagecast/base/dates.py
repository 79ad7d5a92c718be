"""Dates and clock times as people write and read them."""

from __future__ import annotations

import datetime as dt
import re
from functools import lru_cache

ACCEPTED_DATES = "2026-05-04, or month/day/year such as 5/4/2026"

# A year outside this span is a slip of the keyboard (2206, 0206), not a season or a record.
FIRST_YEAR, LAST_YEAR = 1850, 2100

_ISO = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")
_US_ORDER = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_TWO_DIGIT_YEAR = re.compile(r"[0-9]{1,2}([/.-])[0-9]{1,2}\1[0-9]{2}")
_YEAR_LAST = re.compile(r"([0-9]{1,2})[-.]([0-9]{1,2})[-.]([0-9]{4})")
_YEAR_FIRST = re.compile(r"[0-9]{4}[/.][0-9]{1,2}[/.][0-9]{1,2}|[0-9]{8}")
_SERIAL = re.compile(r"([0-9]{5})(\.[0-9]*)?")

# Day 0 of the spreadsheet "1900 date system" for every serial after February 1900.
_SERIAL_ZERO = dt.date(1899, 12, 30)


def said_day(day: dt.date) -> str:
    """A day as people say it, without its year: ``7 Jul``."""
    return f"{day.day} {day:%b}"


@lru_cache(maxsize=1 << 14)  # the days of forty years, alike at every station
def parse_date(text: str) -> tuple[dt.date, bool]:
    """Read one date.

    Parameters
    ----------
    text: ``year-month-day`` (leading zeros optional) or ``month/day/year``, the year with four
        digits; ``4-27-2026`` and ``27.4.2026`` too, where only one order of month and day gives a
        date. Blanks around it are ignored.

    Returns
    -------
    us_order : bool
        True when the text was read as month/day/year by rule, so that a screen can say so.

    Raises
    ------
    ValueError
        With a reason a person can act on. A form that could mean two days (5-4-2026, 13/5/2026
        read backwards, a two-digit year) is refused, never reinterpreted.
    """
    text = text.strip()
    if match := _ISO.fullmatch(text):
        year, month, day = map(int, match.groups())
        return _checked(year, month, day, order=""), False
    if match := _US_ORDER.fullmatch(text):
        month, day, year = map(int, match.groups())
        return _checked(year, month, day, order=" (read as month/day/year)"), True
    if match := _YEAR_LAST.fullmatch(text):
        return _only_reading(*map(int, match.groups())), False
    raise ValueError(_why_not(text))


def _only_reading(first: int, second: int, year: int) -> dt.date:
    """The date, where month first and day first do not give two."""
    if first != second and max(first, second) <= 12:
        raise ValueError("could be month first or day first")
    month, day = (first, second) if first <= 12 else (second, first)
    return _checked(year, month, day, order="")


def _checked(year: int, month: int, day: int, *, order: str) -> dt.date:
    """Build the date, or say which part of it cannot be."""
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(f"year {year:04d} is outside {FIRST_YEAR} to {LAST_YEAR}")
    if not 1 <= month <= 12:
        raise ValueError(f"there is no month {month}{order}")
    try:
        return dt.date(year, month, day)
    except ValueError:
        raise ValueError(f"month {month} of {year} has no day {day}{order}") from None


def _why_not(text: str) -> str:
    """Name the habit behind a text that is not a date we read."""
    if not text:
        return "no date"
    if match := _SERIAL.fullmatch(text):
        meant = _SERIAL_ZERO + dt.timedelta(days=int(match.group(1)))
        return (
            f"looks like a spreadsheet serial number (it may stand for {meant}); "
            "format the column as a date before saving"
        )
    if _TWO_DIGIT_YEAR.fullmatch(text):
        return "the year needs four digits"
    if _YEAR_FIRST.fullmatch(text):
        return "write the date with hyphens, year first"
    if any(_ISO.match(text[:n]) for n in (10, 9, 8)) or _US_ORDER.match(text):
        return "something stands after the date"
    return "not a date"


ACCEPTED_TIME = "a time of day, such as 7:00, 13:30 or 1:30 pm"
HOUR_S, MINUTE_S = 3600, 60
DAY_S = 24 * HOUR_S

_TIME = re.compile(
    r"([0-9]{1,2})(?::([0-9]{2})(?::([0-9]{2}))?)?(?:\s?([ap])\.?\s?m\.?)?",
    re.IGNORECASE | re.ASCII,
)
_SHARE_OF_DAY = re.compile(r"0?\.[0-9]+")


def parse_time(text: str) -> int:
    """Read a time of day.

    Parameters
    ----------
    text: hours and two digits of minutes, ``0:00`` to ``24:00``, which ends a day; seconds may
        follow. With am or pm the hour is 1 to 12, and minutes may be left out. Blanks around it are
        ignored.

    Returns
    -------
    int
        Seconds after midnight.

    Raises
    ------
    ValueError
        With a reason a person can act on.
    """
    text = text.strip()
    match = _TIME.fullmatch(text)
    if match is None or match[2] is match[4] is None:
        raise ValueError(_why_no_time(text))
    hour, minute, second = (int(part or 0) for part in match.groups()[:3])
    if match[4] is not None:
        if not 1 <= hour <= 12:
            raise ValueError(f"there is no hour {hour} {match[4].lower()}m")
        hour = hour % 12 + (12 if match[4] in "pP" else 0)
    seconds = hour * HOUR_S + minute * MINUTE_S + second
    if seconds > DAY_S or minute >= 60 or second >= 60:
        raise ValueError("there is no such time of day")
    return seconds


def said_time(seconds: int) -> str:
    """A time of day as it is written: ``7:00``."""
    return f"{seconds // HOUR_S}:{seconds % HOUR_S // MINUTE_S:02d}"


def _why_no_time(text: str) -> str:
    """Name the habit behind a text that is not a time we read."""
    if _SHARE_OF_DAY.fullmatch(text):
        return "looks like a spreadsheet's own number; format the column as text before saving"
    return "not a time of day"
