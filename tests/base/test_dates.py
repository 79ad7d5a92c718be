"""Dates as typed: what is read, what is refused, and never a guess."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.dates import FIRST_YEAR, LAST_YEAR, parse_date

days = st.dates(dt.date(FIRST_YEAR, 1, 1), dt.date(LAST_YEAR, 12, 31))


@given(days)
def test_year_first_reads_back(day: dt.date) -> None:
    """Every date in the span, written year first, reads back as itself and not as US order."""
    assert parse_date(day.isoformat()) == (day, False)
    assert parse_date(f" {day.year}-{day.month}-{day.day} ") == (day, False)


@given(days)
def test_us_order_reads_back_and_says_so(day: dt.date) -> None:
    """Every date written month/day/year, padded or not, reads back and is reported as US order."""
    assert parse_date(f"{day.month}/{day.day}/{day.year}") == (day, True)
    assert parse_date(f"{day.month:02d}/{day.day:02d}/{day.year}") == (day, True)


@given(days.filter(lambda day: day.day > 12))
def test_day_first_is_never_reinterpreted(day: dt.date) -> None:
    """A day-first date whose day cannot be a month is an error that names the month it saw."""
    with pytest.raises(ValueError, match=f"no month {day.day} .*month/day/year"):
        parse_date(f"{day.day}/{day.month}/{day.year}")


@given(st.text(max_size=14))
def test_any_text_gives_a_date_or_a_reason(text: str) -> None:
    """Whatever is typed, the answer is a date or a ValueError with words, nothing else."""
    reason = ""
    day = None
    try:
        day, _ = parse_date(text)
    except ValueError as error:
        reason = str(error)
    assert bool(day) != bool(reason)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("4-27-2026", dt.date(2026, 4, 27)), ("27-4-2026", dt.date(2026, 4, 27)),
        ("27.4.2026", dt.date(2026, 4, 27)), ("5-5-2026", dt.date(2026, 5, 5)),
        ("04-13-2026", dt.date(2026, 4, 13)),
    ],
)  # fmt: skip
def test_a_date_with_one_reading_is_read(text: str, day: dt.date) -> None:
    """No month is a 27th; it is read whichever part comes first, and no order is assumed."""
    assert parse_date(text) == (day, False)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "no date"),
        ("13-27-2026", "no month 27"),
        ("4-31-2026", "no day 31"),
        ("13/5/2026", "no month 13"),
        ("2026-13-01", "no month 13"),
        ("2026-02-29", "month 2 of 2026 has no day 29"),
        ("2/30/2026", r"no day 30 \(read as month/day/year\)"),
        ("2026-05-00", "no day 0"),
        ("5/4/26", "four digits"),
        ("5-4-26", "four digits"),
        ("5-4-2026", "month first or day first"),
        ("4.5.2026", "month first or day first"),
        ("2026/05/04", "with hyphens"),
        ("20260504", "with hyphens"),
        ("2026-05-04 00:00", "stands after the date"),
        ("5/4/2026 6:00", "stands after the date"),
        ("0206-05-04", "year 0206 is outside"),
        ("2206-05-04", "year 2206 is outside"),
        ("May 4, 2026", "not a date"),
        ("٢٠٢٦-٠٥-٠٤", "not a date"),
    ],
)
def test_refusals_name_the_habit(text: str, reason: str) -> None:
    """Each familiar way to write a date wrongly is refused with its own reason."""
    with pytest.raises(ValueError, match=reason):
        parse_date(text)


def test_leap_day_is_a_day() -> None:
    """29 February exists in 2024, and in the same words not in 2023."""
    assert parse_date("2/29/2024") == (dt.date(2024, 2, 29), True)
    with pytest.raises(ValueError, match="no day 29"):
        parse_date("2/29/2023")


@pytest.mark.parametrize(
    ("serial", "day"),
    [
        # Counted by hand: serial 61 is 1900-03-01 in the 1900 date system, and 36526 is
        # 2000-01-01 (spreadsheet documentation gives 39448 for 2008-01-01).
        ("36526", "2000-01-01"),
        ("39448", "2008-01-01"),
        ("39448.0", "2008-01-01"),
    ],
)
def test_serial_numbers_are_recognised_but_not_read(serial: str, day: str) -> None:
    """A spreadsheet serial number is refused, and the sentence offers the day it may stand for."""
    with pytest.raises(ValueError, match=f"serial number.*{day}"):
        parse_date(serial)
