"""Times of day on the 24-hour clock, as settings and tables write them: 7:00, 13:30."""

from __future__ import annotations

import re

ACCEPTED_TIME = "a time on the 24-hour clock, such as 7:00 or 13:30"
HOUR_S, MINUTE_S = 3600, 60
DAY_S = 24 * HOUR_S

_TIME = re.compile(r"([0-9]{1,2}):([0-9]{2})")
_SECONDS = re.compile(r"[0-9]{1,2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?")
_HALF_DAY = re.compile(r"[0-9:.\s]+[ap]\.?\s?m\.?", re.IGNORECASE)
_SHARE_OF_DAY = re.compile(r"0?\.[0-9]+")


def parse_time(text: str) -> int:
    """Read a time of day.

    Parameters
    ----------
    text : str
        Hours and two digits of minutes, ``0:00`` to ``24:00``, which ends a day. Blanks around
        it are ignored.

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
    if match is None:
        raise ValueError(_why_not(text))
    seconds = int(match[1]) * HOUR_S + int(match[2]) * MINUTE_S
    if seconds > DAY_S or int(match[2]) * MINUTE_S >= HOUR_S:
        raise ValueError("there is no such time of day")
    return seconds


def said_time(seconds: int) -> str:
    """A time of day as it is written: ``7:00``."""
    return f"{seconds // HOUR_S}:{seconds % HOUR_S // MINUTE_S:02d}"


def _why_not(text: str) -> str:
    """Name the habit behind a text that is not a time we read."""
    if _HALF_DAY.fullmatch(text):
        return "am and pm are not read"
    if _SECONDS.fullmatch(text):
        return "seconds are not read"
    if _SHARE_OF_DAY.fullmatch(text):
        return "looks like a spreadsheet's own number; format the column as text before saving"
    return "not a time of day"
