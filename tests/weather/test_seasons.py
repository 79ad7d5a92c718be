"""A season laid out from hand-built records: what is known, then past seasons as futures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stagecast.base.errors import WeatherGap
from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.seasons import SeasonSpan, SeasonWeather, known_until, season_weather

REFUSE = 0
APRIL = (4, 20)
ONE_DAY = dt.timedelta(days=1)


def span_of(year: int) -> SeasonSpan:
    """A season to 30 November."""
    return SeasonSpan.of(year, end_month=11, end_day=30)


def readable(day: dt.date) -> tuple[float, float]:
    """Temperatures that name their own day: tmin is the year past 2000, tmax month and day."""
    return float(day.year - 2000), 100.0 * day.month + day.day


def record(
    first: dt.date,
    last: dt.date,
    *,
    missing: Callable[[dt.date], bool] = lambda day: False,
    model: dict[dt.date, dt.date] | None = None,
) -> StationRecord:
    """A record of readable days; ``model`` gives forecast days and when each was fetched."""
    days = [first + dt.timedelta(days=i) for i in range((last - first).days + 1)]
    gone = np.array([missing(day) for day in days])
    values = np.where(gone[:, None], np.nan, np.array([readable(day) for day in days]))
    kind = np.where(gone, DayKind.MISSING, DayKind.OBSERVED).astype(np.int8)
    fetched = {(day - first).days: on for day, on in (model or {}).items()}
    kind[list(fetched)] = DayKind.MODEL
    station = Station("DEMO01", 38.0, -88.0)
    return StationRecord(station, first, values[:, 0].copy(), values[:, 1].copy(), kind, fetched)


def whole_years(first: int, last: dt.date) -> StationRecord:
    """Every day from 1 January of a year to a day."""
    return record(dt.date(first, 1, 1), last)


def lay(
    known: StationRecord,
    year: int,
    as_of: dt.date,
    *,
    bridge_days: int = REFUSE,
    needed_from: dt.date | None = None,
    past_seasons: int | None = None,
) -> SeasonWeather:
    """A season laid out from a record, needed from 20 April unless said otherwise."""
    return season_weather(
        known,
        span_of(year),
        as_of=as_of,
        bridge_days=bridge_days,
        needed_from=needed_from or dt.date(year, *APRIL),
        past_seasons=past_seasons,
    )


def on(season: SeasonWeather, day: dt.date) -> list[tuple[float, float]]:
    """The temperatures of a day in every member."""
    i = season.span.index(day)
    return list(zip(season.tmin_c[:, i].tolist(), season.tmax_c[:, i].tolist(), strict=True))


# --- the span ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("year", "days", "first_of_march"), [(2025, 334, 59), (2024, 335, 60)])
def test_length_of_a_season(year: int, days: int, first_of_march: int) -> None:
    """1 January to 30 November is 334 days, 335 in a leap year, where March begins a day later."""
    span = span_of(year)
    assert span.days == days
    assert span.index(dt.date(year, 1, 1)) == 0
    assert span.index(dt.date(year, 3, 1)) == first_of_march
    assert span.index(dt.date(year, 11, 30)) == days - 1
    assert span.days_of_year().tolist() == list(range(1, days + 1))


@given(year=st.integers(1996, 2040), index=st.integers(0, 333), share=st.floats(0.0, 0.999))
def test_index_and_date_are_each_other(year: int, index: int, share: float) -> None:
    """Any time within a day gives that day's date, and the date gives back the index."""
    span = span_of(year)
    day = span.date(index + share)
    assert day is not None
    assert span.index(day) == index
    assert day.timetuple().tm_yday == span.days_of_year()[index]


@pytest.mark.parametrize("year", [2024, 2025])
def test_a_time_after_the_last_day_has_no_date(year: int) -> None:
    """What comes after the last day, never, or at an unknown time is not of this season."""
    span = span_of(year)
    assert span.date(span.days - 0.01) == dt.date(year, 11, 30)
    for time in (float(span.days), span.days + 6.5, float("inf"), float("nan")):
        assert span.date(time) is None


# --- what was known on a day ---------------------------------------------------------------------


def test_nothing_measured_later_is_known() -> None:
    """A record as it stood on 5 May ends on 5 May, and the record itself is left alone."""
    full = whole_years(2024, dt.date(2025, 6, 30))
    stood = known_until(full, dt.date(2025, 5, 5))
    assert stood.last_observed() == dt.date(2025, 5, 5)
    later = np.arange(full.days) > (dt.date(2025, 5, 5) - full.first_day).days
    assert (stood.kind[later] == DayKind.MISSING).all()
    assert np.isnan(stood.tmin_c[later]).all()
    assert np.isnan(stood.tmax_c[later]).all()
    np.testing.assert_array_equal(stood.tmax_c[~later], full.tmax_c[~later])
    assert np.isfinite(full.tmin_c).all()


def test_a_forecast_is_known_from_the_day_it_was_fetched() -> None:
    """Forecast days count if fetched on or before the day asked for, however far they reach."""
    fetched = {dt.date(2025, 5, d): dt.date(2025, 5, on) for d, on in ((6, 5), (7, 5), (8, 6))}
    known = record(dt.date(2025, 5, 1), dt.date(2025, 5, 8), model=fetched)
    for as_of, kinds in (
        (4, [1, 1, 1, 1, 0, 0, 0, 0]),
        (5, [1, 1, 1, 1, 1, 2, 2, 0]),
        (6, [1, 1, 1, 1, 1, 2, 2, 2]),
    ):
        stood = known_until(known, dt.date(2025, 5, as_of))
        assert stood.kind.tolist() == kinds
        assert np.isnan(stood.tmin_c).tolist() == [kind == 0 for kind in kinds]
        assert sorted(stood.fetched_on) == [i for i, kind in enumerate(kinds) if kind == 2]


@settings(max_examples=40, deadline=None)
@given(day=st.integers(0, 333), scale=st.floats(-5.0, 5.0))
def test_days_after_as_of_never_matter(day: int, scale: float) -> None:
    """Changing everything measured after the day asked for changes nothing in the season."""
    as_of = dt.date(2025, 1, 1) + dt.timedelta(days=day)
    known = whole_years(2022, dt.date(2025, 11, 30))
    changed = whole_years(2022, dt.date(2025, 11, 30))
    after = np.arange(known.days) > (as_of - known.first_day).days
    changed.tmin_c[after] *= scale
    changed.tmax_c[after] += scale
    first, second = (lay(r, 2025, as_of) for r in (known, changed))
    np.testing.assert_array_equal(first.tmin_c, second.tmin_c)
    np.testing.assert_array_equal(first.tmax_c, second.tmax_c)
    assert first.last_known == second.last_known == as_of


# --- futures -------------------------------------------------------------------------------------


def test_futures_follow_the_calendar() -> None:
    """After 5 May 2025 come 6 May 2022, 2023 and 2024, each in its own row, to 30 November."""
    season = lay(whole_years(2022, dt.date(2025, 8, 1)), 2025, dt.date(2025, 5, 5))
    assert season.member_years == (2022, 2023, 2024)
    assert (season.last_observed, season.last_known) == (dt.date(2025, 5, 5),) * 2
    assert on(season, dt.date(2025, 5, 5)) == [(25.0, 505.0)] * 3
    for month, day in ((5, 6), (8, 1), (11, 30)):
        label = 100.0 * month + day
        assert on(season, dt.date(2025, month, day)) == [(y, label) for y in (22.0, 23.0, 24.0)]
    assert season.tmin_c.shape == season.tmax_c.shape == (3, 334)
    assert not np.isnan(season.tmin_c).any()


def test_the_known_part_is_the_same_in_every_member() -> None:
    """Up to the last known day, members do not differ; after it, they all do."""
    season = lay(whole_years(2022, dt.date(2025, 8, 1)), 2025, dt.date(2025, 5, 5))
    known = season.span.index(dt.date(2025, 5, 5)) + 1
    differ = (season.tmin_c != season.tmin_c[:1])[1:]
    assert not differ[:, :known].any()
    assert differ[:, known:].all()


def test_a_leap_day_repeats_28_february() -> None:
    """Ahead of a leap season, past years lend 28 February twice and 1 March falls on 1 March."""
    season = lay(whole_years(2022, dt.date(2024, 2, 10)), 2024, dt.date(2024, 2, 10))
    for day, label in (((2, 28), 228.0), ((2, 29), 228.0), ((3, 1), 301.0), ((11, 30), 1130.0)):
        assert on(season, dt.date(2024, *day)) == [(22.0, label), (23.0, label)]
    assert season.tmin_c.shape == (2, 335)


def test_a_past_leap_day_is_left_out() -> None:
    """Ahead of a common season, a past leap year goes from 28 February to 1 March."""
    season = lay(whole_years(2024, dt.date(2025, 2, 10)), 2025, dt.date(2025, 2, 10))
    assert on(season, dt.date(2025, 2, 28)) == [(24.0, 228.0)]
    assert on(season, dt.date(2025, 3, 1)) == [(24.0, 301.0)]


def test_a_leap_day_that_was_measured_is_kept() -> None:
    """In a leap season 29 February is its own measured day, and lends itself to leap years."""
    season = lay(whole_years(2020, dt.date(2024, 5, 5)), 2024, dt.date(2024, 5, 5))
    assert on(season, dt.date(2024, 2, 29)) == [(24.0, 229.0)] * 4
    ahead = lay(whole_years(2020, dt.date(2024, 2, 5)), 2024, dt.date(2024, 2, 5))
    assert on(ahead, dt.date(2024, 2, 29))[0] == (20.0, 229.0)


def test_only_the_latest_past_seasons_are_used() -> None:
    """Asked for two past seasons, the two latest whole ones stand, in order."""
    known = record(
        dt.date(2019, 1, 1),
        dt.date(2025, 5, 5),
        missing=lambda day: dt.date(2024, 7, 1) <= day <= dt.date(2024, 7, 9),
    )
    season = lay(known, 2025, dt.date(2025, 5, 5), past_seasons=2)
    assert season.member_years == (2022, 2023)
    assert lay(known, 2025, dt.date(2025, 5, 5)).member_years == (2019, 2020, 2021, 2022, 2023)


def test_a_past_year_with_a_long_hole_is_left_out() -> None:
    """A hole the policy bridges keeps the year; one a day longer drops it, and so does 'refuse'."""

    def missing(day: dt.date) -> bool:
        two = dt.date(2023, 7, 1) <= day <= dt.date(2023, 7, 2)
        three = dt.date(2024, 7, 1) <= day <= dt.date(2024, 7, 3)
        return two or three

    known = record(dt.date(2022, 1, 1), dt.date(2025, 5, 5), missing=missing)
    as_of = dt.date(2025, 5, 5)
    assert lay(known, 2025, as_of).member_years == (2022,)
    bridged = lay(known, 2025, as_of, bridge_days=2)
    assert bridged.member_years == (2022, 2023)
    assert not np.isnan(bridged.tmin_c).any()


def test_a_past_hole_before_the_days_ahead_does_not_matter() -> None:
    """A past June hole costs the year in May, but not in August, when June is no longer ahead."""
    known = record(
        dt.date(2023, 1, 1),
        dt.date(2025, 8, 10),
        missing=lambda day: dt.date(2024, 6, 1) <= day <= dt.date(2024, 6, 20),
    )
    assert lay(known, 2025, dt.date(2025, 5, 5)).member_years == (2023,)
    assert lay(known, 2025, dt.date(2025, 8, 10)).member_years == (2023, 2024)


def test_no_whole_past_season_is_an_error() -> None:
    """With days ahead and nothing to stand for them, the gap names the days and the next step."""
    known = record(
        dt.date(2024, 1, 1), dt.date(2025, 5, 5), missing=lambda day: day == dt.date(2024, 9, 9)
    )
    with pytest.raises(WeatherGap, match="add at least one past year") as gap:
        lay(known, 2025, dt.date(2025, 5, 5))
    assert gap.value.station == "DEMO01"
    assert (gap.value.first_missing, gap.value.last_missing) == (
        dt.date(2025, 5, 6),
        dt.date(2025, 11, 30),
    )
    assert lay(known, 2025, dt.date(2025, 5, 5), bridge_days=1).member_years == (2024,)


def test_the_season_itself_is_no_past_season() -> None:
    """Asked about an earlier season, later years do not stand for it, and neither does it."""
    season = lay(whole_years(2021, dt.date(2025, 12, 31)), 2023, dt.date(2023, 6, 1))
    assert season.member_years == (2021, 2022)


def test_a_season_that_is_over_is_one_row() -> None:
    """With the last day known there is one row, no past season in it, and all of it observed."""
    season = lay(whole_years(2022, dt.date(2025, 12, 31)), 2025, dt.date(2025, 12, 5))
    assert season.member_years == ()
    assert season.tmin_c.shape == (1, 334)
    assert set(on(season, dt.date(2025, 11, 30))) == {(25.0, 1130.0)}
    assert season.count(DayKind.OBSERVED) == 334
    assert season.last_known == dt.date(2025, 11, 30)


def test_a_season_that_is_over_needs_no_past() -> None:
    """A record of one finished season, and nothing before it, is enough for that season."""
    season = lay(whole_years(2025, dt.date(2025, 11, 30)), 2025, dt.date(2025, 11, 30))
    assert season.tmin_c.shape == (1, 334)


def test_a_season_not_begun_is_all_future() -> None:
    """Asked in the autumn before, every day is a past season's and the last known day is told."""
    known = whole_years(2022, dt.date(2024, 10, 15))
    season = lay(known, 2025, dt.date(2024, 10, 15))
    assert season.member_years == (2022, 2023)
    assert season.count(DayKind.PAST_SEASON) == season.span.days
    assert season.last_known == season.last_observed == dt.date(2024, 10, 15)
    assert on(season, dt.date(2025, 1, 1)) == [(22.0, 101.0), (23.0, 101.0)]


# --- what each day is ----------------------------------------------------------------------------


def test_days_are_marked_with_what_they_are() -> None:
    """Observed, bridged, model and past-season days are each marked, in their places."""
    fetched = {dt.date(2025, 5, d): dt.date(2025, 5, 5) for d in (6, 7, 8)}
    known = record(
        dt.date(2023, 1, 1),
        dt.date(2025, 5, 8),
        missing=lambda day: day == dt.date(2025, 4, 30),
        model=fetched,
    )
    season = lay(known, 2025, dt.date(2025, 5, 5), bridge_days=1)
    index = season.span.index
    assert season.kind[index(dt.date(2025, 4, 30))] == DayKind.BRIDGED
    assert (season.kind[index(dt.date(2025, 5, 6)) : index(dt.date(2025, 5, 9))] == 2).all()
    assert (season.kind[index(dt.date(2025, 5, 9)) :] == DayKind.PAST_SEASON).all()
    counts = [season.count(k) for k in (DayKind.BRIDGED, DayKind.MODEL, DayKind.MISSING)]
    assert counts == [1, 3, 0]
    assert season.count(DayKind.OBSERVED) == index(dt.date(2025, 5, 5)) + 1 - 1
    assert season.last_observed == dt.date(2025, 5, 5)
    assert season.last_known == dt.date(2025, 5, 8)
    assert on(season, dt.date(2025, 4, 30)) == [(25.0, (429.0 + 501.0) / 2)] * 2


def test_a_forecast_fetched_later_gives_way_to_past_seasons() -> None:
    """Seen as of the day before it was fetched, a forecast is not there and futures begin."""
    fetched = {dt.date(2025, 5, d): dt.date(2025, 5, 5) for d in (6, 7, 8)}
    known = record(dt.date(2023, 1, 1), dt.date(2025, 5, 8), model=fetched)
    season = lay(known, 2025, dt.date(2025, 5, 4))
    assert season.count(DayKind.MODEL) == 0
    assert season.last_known == dt.date(2025, 5, 4)
    assert on(season, dt.date(2025, 5, 5)) == [(23.0, 505.0), (24.0, 505.0)]


def test_a_hole_in_the_known_part_stays_a_hole() -> None:
    """A hole too long to bridge is NaN in every member, MISSING, and found between two days."""
    known = record(
        dt.date(2023, 1, 1),
        dt.date(2025, 6, 30),
        missing=lambda day: dt.date(2025, 5, 10) <= day <= dt.date(2025, 5, 14),
    )
    season = lay(known, 2025, dt.date(2025, 6, 30), bridge_days=2)
    hole = (dt.date(2025, 5, 10), dt.date(2025, 5, 14))
    assert season.count(DayKind.MISSING) == 5
    assert np.isnan(season.tmin_c).sum() == 5 * 2
    assert season.hole_between(dt.date(2025, 5, 1), dt.date(2025, 6, 1)) == hole
    assert season.hole_between(dt.date(2025, 5, 15), dt.date(2025, 6, 1)) is None
    assert season.hole_between(dt.date(2025, 6, 1), dt.date(2025, 5, 1)) is None


def test_stations_that_rest_in_winter_still_give_members() -> None:
    """Records of March to November serve a season needed from April; its winter stays missing."""
    known = record(
        dt.date(2022, 3, 1), dt.date(2025, 6, 30), missing=lambda day: day.month in (12, 1, 2)
    )
    season = lay(known, 2025, dt.date(2025, 6, 30))
    assert season.member_years == (2022, 2023, 2024)
    march = season.span.index(dt.date(2025, 3, 1))
    assert np.isnan(season.tmin_c).all(axis=0).tolist() == [i < march for i in range(334)]
    assert season.count(DayKind.MISSING) == march


def test_a_winter_without_a_record_is_no_past_season_either() -> None:
    """Asked in February, the days ahead to March stay NaN and MISSING; from March on, futures."""
    known = record(
        dt.date(2022, 3, 1), dt.date(2024, 11, 30), missing=lambda day: day.month in (12, 1, 2)
    )
    season = lay(known, 2025, dt.date(2025, 2, 10))
    march = season.span.index(dt.date(2025, 3, 1))
    assert np.isnan(season.tmax_c[:, :march]).all()
    assert (season.kind[:march] == DayKind.MISSING).all()
    assert np.isfinite(season.tmax_c[:, march:]).all()
    assert (season.kind[march:] == DayKind.PAST_SEASON).all()
    with pytest.raises(WeatherGap):
        lay(known, 2025, dt.date(2025, 2, 10), needed_from=dt.date(2025, 2, 15))


def test_every_day_has_a_kind_that_fits_its_temperatures() -> None:
    """Over many days asked for, a day is NaN in some member exactly when it is MISSING."""
    known = record(
        dt.date(2021, 3, 1),
        dt.date(2025, 11, 30),
        missing=lambda day: day.month in (1, 2) or (day.month, day.day) in ((3, 9), (6, 3)),
    )
    for offset in range(0, 334, 11):
        as_of = dt.date(2025, 1, 1) + offset * ONE_DAY
        season = lay(known, 2025, as_of, bridge_days=1)
        unknown = np.isnan(season.tmin_c).any(axis=0)
        np.testing.assert_array_equal(unknown, season.kind == DayKind.MISSING)
