"""The calendar: held against RFC 5545 by another reader, and carried on from week to week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import pytest
import vobject
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from week_builder import (
    HOSTILE,
    MONDAY,
    ONE_DAY,
    build_week,
    field_ids,
    full_week,
    renamed,
    season_of,
    unwalked,
    walked_on,
)

from stagecast.errors import SeasonProblems
from stagecast.outputs.week_calendar import calendar_bytes
from stagecast.scouting.plan import SeasonPlan
from stagecast.scouting.week_types import WeekRoute

NOON = dt.datetime(2026, 7, 6, 12, tzinfo=dt.UTC)
LATER = NOON + dt.timedelta(hours=5)
FOREIGN = (
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//other//other//EN\r\nX-WR-CALNAME:Mine\r\n"
    "BEGIN:VTIMEZONE\r\nTZID:Somewhere\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\n"
    "TZOFFSETFROM:-0600\r\nTZOFFSETTO:-0600\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"
    "BEGIN:VEVENT\r\nUID:party@elsewhere\r\nDTSTAMP:20260101T000000Z\r\n"
    "DTSTART:20260707T180000\r\nSUMMARY:a line that is\r\n  folded\r\nX-ODD;P=1:kept\r\n"
    "END:VEVENT\r\nEND:VCALENDAR\r\n"
)


@pytest.fixture(scope="module")
def season(demo: Path) -> SeasonPlan:
    """The demo season in which nothing was walked yet."""
    return unwalked(season_of(demo))


def planned(
    season: SeasonPlan,
    *days: Sequence[str],
    first_day: dt.date = MONDAY,
    left_out: Sequence[str] = (),
    scout: str = "",
) -> WeekRoute:
    """A week of one scout: fields of the first day, the second, and so on."""
    walks = {(first_day + n * ONE_DAY, scout): ids for n, ids in enumerate(days)}
    return build_week(season, walks, first_day=first_day, left_out=left_out)


def write(week: WeekRoute, before: bytes | None = None, stamped: dt.datetime = NOON) -> bytes:
    """The calendar of a week."""
    return calendar_bytes(week, before=before, stamped=stamped)


def events(raw: bytes) -> dict[str, vobject.base.Component]:
    """Events by UID as another library reads them; it also checks the file's form."""
    text = raw.decode("utf-8")
    assert text.count("\n") == text.count("\r\n") == text.count("\r")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75
    calendar = vobject.readOne(text)
    calendar.validate(raiseException=True)
    assert (calendar.version.value, calendar.prodid.value) == ("2.0", "-//stagecast//week//EN")
    found = list(calendar.contents.get("vevent", []))
    by_uid = {event.uid.value: event for event in found}
    assert len(by_uid) == len(found)
    return by_uid


def states(raw: bytes) -> list[tuple[str, int, str]]:
    """Field, SEQUENCE and STATUS of all events of ours, in their order."""
    return [
        (event.summary.value.split()[0], int(event.sequence.value), event.status.value)
        for event in events(raw).values()
        if hasattr(event, "sequence")
    ]


# --- one file -------------------------------------------------------------------------------


def test_every_stop_is_an_event_at_its_time_and_place(season: SeasonPlan) -> None:
    """Another library reads the same times, place and words, with no zone."""
    week = full_week(season)
    found = {event.summary.value.split()[0]: event for event in events(write(week)).values()}
    stops = [(day, stop) for day in week.days for stop in day.stops]
    assert found.keys() == {stop.field_id for _, stop in stops}
    for day, stop in stops:
        event, field = found[stop.field_id], stop.plan.forecast.field
        assert (event.dtstart.value, event.dtend.value) == (stop.arrive, stop.leave)
        assert event.dtstart.value.tzinfo is None
        assert event.summary.value.endswith(f", {day.scout}")
        latitude, longitude = map(float, event.geo.value.split(";"))
        assert (latitude, longitude) == pytest.approx((field.latitude, field.longitude))
        assert event.description.value.split("\n")[1:] == list(stop.look_for)
        assert (event.sequence.value, event.status.value) == ("0", "CONFIRMED")


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
def test_no_name_breaks_the_file(name: str, season: SeasonPlan) -> None:
    """The file holds two events whatever a field or scout is called, and stays the same."""
    ids = field_ids(season)[:2]
    week = planned(renamed(season, {ids[0]: name}), ids, scout=name)
    first = write(week)
    assert [field for field, _, _ in states(first)] == ids
    assert write(week, first, LATER) == first
    assert not set(range(32)) - {10, 13} & set(first)


def test_a_week_without_stops_can_be_written_and_read_again(season: SeasonPlan) -> None:
    """An empty week is a calendar, and the next week carries on from it."""
    first = write(planned(season, []))
    assert events(first) == {}
    assert states(write(planned(season, field_ids(season)[:1]), first)) == [
        (field_ids(season)[0], 0, "CONFIRMED")
    ]


# --- from file to file ----------------------------------------------------------------------


def test_the_same_week_is_the_same_bytes(season: SeasonPlan) -> None:
    """Written again later, with or without the file before, nothing changes but new stamps."""
    week = full_week(season)
    assert write(week) == write(week)
    assert write(week, write(week), LATER) == write(week)


def test_a_visit_that_moves_keeps_its_event(season: SeasonPlan) -> None:
    """Another day or scout raises SEQUENCE by one and takes the new stamp; others stay."""
    a, b = field_ids(season)[:2]
    first = write(planned(season, [a], [b]))
    moved = write(planned(season, [], [b], [a]), first, LATER)
    assert events(moved).keys() == events(first).keys()
    assert states(moved) == [(b, 0, "CONFIRMED"), (a, 1, "CONFIRMED")]
    assert [e.dtstamp.value for e in events(moved).values()] == [NOON, LATER]
    other = write(planned(season, [], [b], [a], scout="Ann"), moved)
    assert events(other).keys() == events(first).keys()
    assert states(other) == [(b, 1, "CONFIRMED"), (a, 2, "CONFIRMED")]


def test_a_visit_that_falls_out_is_called_off_and_may_come_back(season: SeasonPlan) -> None:
    """CANCELLED raises SEQUENCE once, not again while it stays off; coming back raises it too."""
    a, b = field_ids(season)[:2]
    first = write(planned(season, [a, b]))
    off = write(planned(season, [a], left_out=[b]), first, LATER)
    assert states(off) == [(a, 0, "CONFIRMED"), (b, 1, "CANCELLED")]
    assert write(planned(season, [a], left_out=[b]), off) == off
    back = write(planned(season, [a, b]), off)
    assert states(back) == [(a, 0, "CONFIRMED"), (b, 2, "CONFIRMED")]
    assert events(back).keys() == events(first).keys()


def test_another_week_has_events_of_its_own(season: SeasonPlan) -> None:
    """The week before stays as it was; the same fields a week later have other UIDs."""
    ids = field_ids(season)[:3]
    first = write(planned(season, ids))
    walked = season
    for field_id in ids:
        walked = walked_on(walked, field_id, MONDAY)
    both = write(planned(walked, ids, first_day=MONDAY + 7 * ONE_DAY), first)
    assert states(both) == [(i, 0, "CONFIRMED") for i in (*ids, *ids)]
    assert len(events(both)) == 6
    alone = write(planned(walked, ids, first_day=MONDAY + 7 * ONE_DAY))
    assert not events(alone).keys() & events(first).keys()
    assert events(alone).keys() < events(both).keys()


def test_a_visit_that_is_over_is_kept(season: SeasonPlan) -> None:
    """Replanned from Wednesday on, Monday's visit stays; a second one in the week is another."""
    a, b = field_ids(season)[:2]
    first = write(planned(season, [a], [], [b]))
    wednesday = MONDAY + 2 * ONE_DAY
    assert write(planned(season, [b], first_day=wednesday), first) == first
    walked = walked_on(season, a, MONDAY)
    again = write(planned(walked, [b], [a], first_day=wednesday), first)
    assert states(again) == [(a, 0, "CONFIRMED"), (b, 0, "CONFIRMED"), (a, 0, "CONFIRMED")]


def test_a_rained_out_visit_moves_on(season: SeasonPlan) -> None:
    """A field of Monday that was not walked and is planned for Tuesday has one event, not two."""
    a = field_ids(season)[0]
    first = write(planned(season, [a]))
    later = write(planned(season, [a], first_day=MONDAY + ONE_DAY), first)
    assert states(later) == [(a, 1, "CONFIRMED")]


def test_a_visit_done_today_is_not_called_off(season: SeasonPlan) -> None:
    """By the log or by word: what was walked on the first day stays in the calendar."""
    a, b = field_ids(season)[:2]
    first = write(planned(season, [a], [b]))
    assert write(planned(walked_on(season, a, MONDAY), [], [b]), first) == first
    said = calendar_bytes(planned(season, [], [b]), before=first, stamped=LATER, done=[a])
    assert said == first


def test_what_is_not_ours_is_kept_as_it_was_written(season: SeasonPlan) -> None:
    """Foreign events, zones and names stay byte for byte; ours stand beside them."""
    week = planned(season, field_ids(season)[:2])
    both = write(week, FOREIGN.encode("utf-8"))
    start, end = FOREIGN.index("BEGIN:VTIMEZONE"), FOREIGN.index("END:VCALENDAR")
    assert FOREIGN[start:end].encode("utf-8") in both
    assert b"X-WR-CALNAME:Mine\r\n" in both
    assert len(events(both)) == 3
    assert write(week, both, LATER) == both
    assert write(week, both.replace(b"\r\n", b"\n")) == both


@pytest.mark.parametrize(
    ("before", "said"),
    [
        (b"", "not one whole iCalendar file"),
        (b"field_id,date\nF1,2026-07-06\n", "not one whole iCalendar file"),
        (b"\xff\xfeB\x00", "not UTF-8"),
        (FOREIGN.encode()[:-20], "not one whole iCalendar file"),
        (FOREIGN.replace("END:STANDARD\r\n", "").encode(), "something ends here"),
        (FOREIGN.replace("END:VEVENT", "X:1").encode(), "VEVENT does not end"),
        (FOREIGN.encode() * 2, "something ends here"),
    ],
)
def test_a_file_that_is_no_calendar_is_refused(
    before: bytes, said: str, season: SeasonPlan
) -> None:
    """Nothing is guessed and nothing lost: the file is named, with what to do about it."""
    with pytest.raises(SeasonProblems) as caught:
        calendar_bytes(planned(season), before=before, stamped=NOON, file="mine.ics")
    (sentence,) = caught.value.sentences()
    assert sentence.startswith("mine.ics")
    assert said in sentence
    assert "move this one away" in sentence


def test_an_event_of_ours_that_others_spoilt_is_left_alone(season: SeasonPlan) -> None:
    """An event without a readable time is kept, and the visit gets another UID."""
    week = planned(season, field_ids(season)[:1])
    first = write(week)
    spoilt = first.replace(b"DTSTART:20260706T073000", b"DTSTART:soon")
    assert spoilt != first
    again = write(week, spoilt)
    assert again.count(b"BEGIN:VEVENT") == 2
    assert b"DTSTART:soon" in again
    assert len(set(line for line in again.split(b"\r\n") if line.startswith(b"UID"))) == 2


PLANS = st.lists(
    st.tuples(
        st.integers(0, 9),
        st.dictionaries(st.integers(0, 3), st.tuples(st.integers(0, 4), st.booleans())),
    ),
    min_size=1,
    max_size=5,
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(plans=PLANS)
def test_sequences_never_fall_and_the_last_plan_stands(
    plans: list[tuple[int, dict[int, tuple[int, bool]]]], season: SeasonPlan
) -> None:
    """UIDs stay, each change alone raises SEQUENCE by one, and what lies ahead is the last plan."""
    ids = field_ids(season)[:4]
    before, known = None, {}
    for shift, where in sorted(plans, key=lambda plan: plan[0]):
        first_day = MONDAY + shift * ONE_DAY
        walks: dict[tuple[dt.date, str], list[str]] = {}
        for index, (day, second) in where.items():
            scout = "Bo" if second else "Ann"
            walks.setdefault((first_day + day * ONE_DAY, scout), []).append(ids[index])
        week = build_week(season, walks, first_day=first_day)
        after = write(week, before, NOON + shift * ONE_DAY)
        found = {
            uid: (int(e.sequence.value), e.dtstart.value, e.summary.value, e.status.value)
            for uid, e in events(after).items()
        }
        assert known.keys() <= found.keys()
        for uid, (sequence, *told) in known.items():
            assert found[uid][0] == sequence + (found[uid][1:] != tuple(told))
        ahead = sorted(
            (told[1], told[2].split()[0])
            for told in found.values()
            if told[3] == "CONFIRMED" and told[1].date() >= first_day
        )
        stops = [(stop.arrive, stop.field_id) for day in week.days for stop in day.stops]
        assert ahead == sorted(stops)
        before, known = after, found
