"""The calendar: held against RFC 5545 by another reader, and carried on from week to week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import vobject
from changed import changed
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

from stagecast.base.errors import SeasonProblems
from stagecast.files.calendar import calendar_bytes
from stagecast.visits.look_for import CropSign
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import WeekRoute
from stagecast.words.visits import look_for_texts

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
def season(demo: Path) -> SeasonDay:
    """The demo season in which nothing was walked yet."""
    return unwalked(season_of(demo))


def planned(
    season: SeasonDay,
    *days: Sequence[str],
    first_day: dt.date = MONDAY,
    left_out: Sequence[str] = (),
    scout: str = "",
    length: int = 6,
) -> WeekRoute:
    """A week of one scout: fields of the first day, the second, and so on."""
    walks = {(first_day + n * ONE_DAY, scout): ids for n, ids in enumerate(days)}
    return build_week(season, walks, first_day=first_day, left_out=left_out, days=length)


def with_settings(season: SeasonDay, **new: Any) -> SeasonDay:
    """The same season with other settings."""
    folder = season.loaded.season
    folder = replace(folder, settings=folder.settings.model_copy(update=new))
    return changed(season, loaded=replace(season.loaded, season=folder))


def at_home(season: SeasonDay, north: float) -> SeasonDay:
    """The same season with a home further north by some degrees."""
    home = season.loaded.season.settings.home
    return with_settings(season, home=home.model_copy(update={"latitude": home.latitude + north}))


def edited(raw: bytes, was: str, now: str) -> bytes:
    """A calendar in which a person changed a text that stands there once."""
    assert raw.count(was.encode()) == 1
    return raw.replace(was.encode(), now.encode())


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
    assert calendar.version.value == "2.0"
    assert len(calendar.contents["prodid"]) == 1
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


def test_every_stop_is_an_event_at_its_time_and_place(season: SeasonDay) -> None:
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
        assert event.description.value.split("\n")[1:] == look_for_texts(stop.look_for)
        assert (event.sequence.value, event.status.value) == ("0", "CONFIRMED")


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
def test_no_name_breaks_the_file(name: str, season: SeasonDay) -> None:
    """The file holds two events whatever a field or scout is called, and stays the same."""
    ids = field_ids(season)[:2]
    week = planned(renamed(season, {ids[0]: name}), ids, scout=name)
    first = write(week)
    assert [field for field, _, _ in states(first)] == ids
    assert write(week, first, LATER) == first
    assert not set(range(32)) - {10, 13} & set(first)


@pytest.mark.parametrize("before", [None, b"", b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"])
def test_a_week_without_stops_is_no_calendar(before: bytes | None, season: SeasonDay) -> None:
    """RFC 5545 wants a component: without any the file is named, and nothing can be written."""
    with pytest.raises(SeasonProblems, match=r"mine\.ics: no visit to write"):
        calendar_bytes(planned(season, []), before=before, stamped=NOON, file="mine.ics")
    assert write(planned(season, []), FOREIGN.encode()).count(b"BEGIN:VEVENT") == 1
    assert states(write(planned(season, field_ids(season)[:1]), before)) == [
        (field_ids(season)[0], 0, "CONFIRMED")
    ]


# --- from file to file ----------------------------------------------------------------------


def test_the_same_week_is_the_same_bytes(season: SeasonDay) -> None:
    """Written again later, with or without the file before, nothing changes but new stamps."""
    week = full_week(season)
    assert write(week) == write(week)
    assert write(week, write(week), LATER) == write(week)


def test_a_visit_that_moves_keeps_its_event(season: SeasonDay) -> None:
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


def test_a_visit_that_falls_out_is_called_off_and_may_come_back(season: SeasonDay) -> None:
    """CANCELLED raises SEQUENCE once, not again while it stays off; coming back raises it too."""
    a, b = field_ids(season)[:2]
    first = write(planned(season, [a, b]))
    off = write(planned(season, [a], left_out=[b]), first, LATER)
    assert states(off) == [(a, 0, "CONFIRMED"), (b, 1, "CANCELLED")]
    assert write(planned(season, [a], left_out=[b]), off) == off
    back = write(planned(season, [a, b]), off)
    assert states(back) == [(a, 0, "CONFIRMED"), (b, 2, "CONFIRMED")]
    assert events(back).keys() == events(first).keys()


def test_another_week_has_events_of_its_own(season: SeasonDay) -> None:
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


def test_a_visit_that_is_over_is_kept(season: SeasonDay) -> None:
    """Replanned from Wednesday on, Monday's visit stays; a second one in the week is another."""
    a, b = field_ids(season)[:2]
    first = write(planned(season, [a], [], [b]))
    wednesday = MONDAY + 2 * ONE_DAY
    assert write(planned(season, [b], first_day=wednesday), first) == first
    walked = walked_on(season, a, MONDAY)
    again = write(planned(walked, [b], [a], first_day=wednesday), first)
    assert states(again) == [(a, 0, "CONFIRMED"), (b, 0, "CONFIRMED"), (a, 0, "CONFIRMED")]


def test_a_rained_out_visit_moves_on(season: SeasonDay) -> None:
    """A field of Monday that was not walked and is planned for Tuesday has one event, not two."""
    a = field_ids(season)[0]
    first = write(planned(season, [a]))
    later = write(planned(season, [a], first_day=MONDAY + ONE_DAY), first)
    assert states(later) == [(a, 1, "CONFIRMED")]


def test_a_visit_done_today_is_not_called_off(season: SeasonDay) -> None:
    """By the log or by word: what was walked on the first day stays in the calendar."""
    a, b = field_ids(season)[:2]
    first = write(planned(season, [a], [b]))
    assert write(planned(walked_on(season, a, MONDAY), [], [b]), first) == first
    said = calendar_bytes(planned(season, [], [b]), before=first, stamped=LATER, done=[a])
    assert said == first


def test_what_is_not_ours_is_kept_as_it_was_written(season: SeasonDay) -> None:
    """Foreign events, zones and the calendar's own lines stay; ours stand beside them."""
    week = planned(season, field_ids(season)[:2])
    both = write(week, FOREIGN.encode("utf-8"))
    assert both.startswith(FOREIGN.removesuffix("END:VCALENDAR\r\n").encode("utf-8"))
    assert len(events(both)) == 3
    assert write(week, both, LATER) == both


@pytest.mark.parametrize("line", ["METHOD:PUBLISH", "PRODID:-//mine//EN", "X-A:1\r\n END\r\n it"])
def test_the_calendar_keeps_its_own_lines(line: str, season: SeasonDay) -> None:
    """A calendar keeps its METHOD, PRODID and name; only what is missing is added."""
    week = planned(season, field_ids(season)[:1])
    before = f"BEGIN:VCALENDAR\r\n{line}\r\nX-WR-CALNAME:My\r\n  name\r\nEND:VCALENDAR\r\n"
    after = write(week, before.encode()).decode()
    assert f"{line}\r\nX-WR-CALNAME:My\r\n  name\r\nBEGIN:VEVENT" in after
    assert [after.count(f"\r\n{name}") for name in ("VERSION:", "PRODID:")] == [1, 1]


@pytest.mark.parametrize("before", [b"", b"\r\n \n", b"\xef\xbb\xbf\n"])
def test_an_empty_file_is_as_good_as_none(before: bytes, season: SeasonDay) -> None:
    """What was made to be filled, such as a temporary file, is filled."""
    week = planned(season, field_ids(season)[:2])
    assert write(week, before) == write(week)


@pytest.mark.parametrize("ending", ["\n", "\r"])
def test_any_line_ending_and_blanks_around_are_read(ending: str, season: SeasonDay) -> None:
    """A calendar that went through an editor says what it said."""
    week = planned(season, field_ids(season)[:2])
    first = write(week, FOREIGN.encode())
    assert write(week, first.replace(b"\r\n", ending.encode()), LATER) == first
    assert write(week, b"\n" + first + b" \r\n\t\r\n  ", LATER) == first


@pytest.mark.parametrize(
    ("before", "said"),
    [
        (b"BEGIN:VCALENDAR", "not one whole iCalendar file"),
        (b"BEGIN:VCALENDAR\nVERSION:1.0\nEND:VCALENDAR\n", "not version 2.0"),
        (b"BEGIN:VCALENDAR\n" + b"BEGIN:X\n" * 9999 + b"END:VCALENDAR", "within each other"),
        (b"field_id,date\nF1,2026-07-06\n", "not one whole iCalendar file"),
        (b"\xff\xfeB\x00", "not UTF-8"),
        (FOREIGN.encode()[:-20], "not one whole iCalendar file"),
        (FOREIGN.replace("END:STANDARD\r\n", "").encode(), "something ends here"),
        (FOREIGN.replace("END:VEVENT", "X:1").encode(), "VEVENT does not end"),
        (b"BEGIN:VCALENDAR\n\n BEGIN:VEVENT\n END:VEVENT\nEND:VCALENDAR\n", "continues nothing"),
        (FOREIGN.replace("END:VCAL", " x\r\nEND:VCAL").encode(), "continues nothing"),
        (FOREIGN.encode() * 2, "something ends here"),
    ],
)
def test_a_file_that_is_no_calendar_is_refused(before: bytes, said: str, season: SeasonDay) -> None:
    """Nothing is guessed and nothing lost: the file is named, with what to do about it."""
    with pytest.raises(SeasonProblems) as caught:
        calendar_bytes(planned(season), before=before, stamped=NOON, file="plans/mine.ics")
    (sentence,) = caught.value.sentences()
    assert sentence.startswith("plans/mine.ics")
    assert said in sentence
    assert "move this one away" in sentence


@pytest.mark.parametrize(
    ("was", "spoilt"),
    [
        ("DTSTART:20260706T073000", "DTSTART:soon"),
        ("SEQUENCE:0", "SEQUENCE:2147483648"),
        ("SEQUENCE:0", f"SEQUENCE:{'9' * 5000}"),
    ],
)
def test_an_event_of_ours_that_others_spoilt_is_left_alone(
    was: str, spoilt: str, season: SeasonDay
) -> None:
    """An event whose time or SEQUENCE cannot be read is kept; the visit gets another UID."""
    week = planned(season, field_ids(season)[:1])
    again = write(week, edited(write(week), was, spoilt))
    assert again.count(b"BEGIN:VEVENT") == 2
    assert spoilt.encode() in again
    assert len({line for line in again.split(b"\r\n") if line.startswith(b"UID")}) == 2


def test_a_sequence_at_the_top_stays_there(season: SeasonDay) -> None:
    """The largest integer of the standard is not passed, and the event changes all the same."""
    ids = field_ids(season)[:1]
    top = edited(write(planned(season, ids)), "SEQUENCE:0", "SEQUENCE:2147483647")
    moved = write(planned(season, [], ids), top)
    assert states(moved) == [(ids[0], 2147483647, "CONFIRMED")]
    assert write(planned(season, []), moved).count(b"STATUS:CANCELLED") == 1


# --- seasons and days beside each other -------------------------------------------------------


@pytest.mark.parametrize("other", ["year", "region", "home"])
def test_two_seasons_share_a_calendar(other: str, season: SeasonDay) -> None:
    """Fields with the same ids of another year, region or home have other events."""
    seasons = {
        "year": with_settings(season, year=season.loaded.season.settings.year + 1),
        "region": with_settings(season, region="XX"),
        "home": at_home(season, 0.02),
    }
    a, b = field_ids(season)[:2]
    mine, yours = planned(season, [a, b]), planned(seasons[other], [], [a])
    both = write(yours, write(mine))
    assert [state[1:] for state in states(both)] == [(0, "CONFIRMED")] * 3
    assert events(both).keys() == events(write(mine)).keys() | events(write(yours)).keys()
    assert sorted(states(write(mine, both))) == sorted(states(both))
    assert [state[1:] for state in states(write(planned(seasons[other], []), both))] == [
        (0, "CONFIRMED"), (0, "CONFIRMED"), (1, "CANCELLED"),
    ]  # fmt: skip


def test_a_corrected_home_or_place_keeps_the_events(season: SeasonDay) -> None:
    """Home put right by a hundred metres is the same season."""
    home = season.loaded.season.settings.home
    centre = at_home(season, round(home.latitude, 2) - home.latitude)
    week = planned(centre, field_ids(season)[:2])
    first = write(week)
    again = write(planned(at_home(centre, 0.001), field_ids(season)[:2]), first)
    assert again == first


def test_a_shorter_look_leaves_later_days_alone(season: SeasonDay) -> None:
    """Of what lies after the last day, only a field that is planned now moves."""
    a, b, c, d = field_ids(season)[:4]
    first = write(planned(season, [a, b], [c], [d]))
    short = write(planned(season, [a, c], length=1), first)
    assert sorted(states(short)) == sorted(
        [(a, 0, "CONFIRMED"), (b, 1, "CANCELLED"), (c, 1, "CONFIRMED"), (d, 0, "CONFIRMED")]
    )
    assert events(short).keys() == events(first).keys()


# --- what a person changes --------------------------------------------------------------------


ALARM = (
    "BEGIN:VALARM\r\nUID:alarm\r\nACTION:DISPLAY\r\nDESCRIPTION:go\r\nTRIGGER:-PT10M\r\nEND:VALARM"
)
"""As some programs write it: with an UID of its own."""


def heads(raw: bytes) -> list[str]:
    """Titles of the events, in their order."""
    return [event.summary.value for event in events(raw).values()]


def test_edits_stay_while_the_plan_is_the_same(season: SeasonDay) -> None:
    """Title, time, status, description and an alarm changed by hand: not a byte changes."""
    a, b = field_ids(season)[:2]
    week = planned(season, [a, b])
    first = write(week)
    by_hand = edited(first, f"SUMMARY:{a} ", f"SUMMARY:CALL FIRST {a} ")
    by_hand = edited(by_hand, "DTSTART:20260706T073000", "DTSTART:20260630T160000")
    by_hand = by_hand.replace(b"STATUS:CONFIRMED", b"STATUS:TENTATIVE", 1)
    by_hand = by_hand.replace(b"BEGIN:VEVENT\r\n", f"BEGIN:VEVENT\r\n{ALARM}\r\n".encode(), 1)
    by_hand = by_hand.replace(b"\r\nDESCRIPTION:", b"\r\nDESCRIPTION:gate code\\n")
    assert write(week, by_hand, LATER) == by_hand


def test_what_is_not_ours_in_an_event_stays_when_it_moves(season: SeasonDay) -> None:
    """Alarms, categories and attendees of a visit that moves stand as they were written."""
    a = field_ids(season)[0]
    theirs = f"CATEGORIES:work\r\nATTENDEE;CN=X:mailto:x@example.com\r\nX-odd;P=1:1\r\n{ALARM}\r\n"
    before = edited(write(planned(season, [a])), "END:VEVENT", f"{theirs}END:VEVENT")
    after = write(planned(season, [], [a]), before, LATER)
    assert theirs.encode() in after
    (event,) = events(after).values()
    assert event.dtstart.value.date() == MONDAY + ONE_DAY
    assert (event.sequence.value, event.dtstamp.value) == ("1", LATER)
    gone = write(planned(season, []), after)
    assert theirs.encode() in gone
    assert [state[1:] for state in states(gone)] == [(2, "CANCELLED")]


def test_a_moved_visit_keeps_a_title_whose_plan_is_the_same(season: SeasonDay) -> None:
    """The new day is written; the title and the note of a person stay, and nothing is doubled."""
    a = field_ids(season)[0]
    before = edited(write(planned(season, [a])), f"SUMMARY:{a}", f"SUMMARY:dog! {a}")
    before = edited(before, "\r\nDESCRIPTION:", "\r\nDESCRIPTION:gate 7\\n\r\n ")
    (was,) = events(before).values()
    for day in (1, 2):
        before = write(planned(season, *[[]] * day, [a]), before)
        (event,) = events(before).values()
        assert event.dtstart.value.date() == MONDAY + day * ONE_DAY
        assert event.summary.value == was.summary.value
        assert event.description.value == was.description.value


def test_an_edited_text_that_must_change_becomes_a_line(season: SeasonDay) -> None:
    """The new title stands, the person's is told once at the end of the description."""
    a = field_ids(season)[0]
    before = edited(write(planned(season, [a])), f"SUMMARY:{a}", f"SUMMARY:dog! {a}")
    (was,) = events(before).values()
    for scout in ("Ann", "Bo", "Ann"):
        before = write(planned(season, [a], scout=scout), before)
        (event,) = events(before).values()
        assert event.summary.value.startswith(a)
        assert event.summary.value.endswith(scout)
        assert event.description.value == f"{was.description.value}\n{was.summary.value}"


def test_a_note_outlives_a_new_description(season: SeasonDay) -> None:
    """Lines of a person move below ours when the plan says something else to look for."""
    a = field_ids(season)[0]
    week = planned(season, [a])
    before = edited(write(week), "\r\nDESCRIPTION:", "\r\nDESCRIPTION:gate\\, 7\\n")
    (day,) = week.days
    told = replace(day.stops[0], look_for=(CropSign("hail"), CropSign("deer")))
    after = write(replace(week, days=(replace(day, stops=(told,)),)), before)
    (event,) = events(after).values()
    assert event.description.value.split("\n")[1:] == ["hail", "deer", "gate, 7"]


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
def test_no_name_is_taken_for_an_edit(name: str, season: SeasonDay) -> None:
    """What we wrote is known again whatever a field is called: it never becomes a note."""
    a = field_ids(season)[0]
    first = write(planned(renamed(season, {a: name}), [a]))
    after = write(planned(renamed(season, {a: "other"}), [a]), first)
    ((was,), (event,)) = (events(raw).values() for raw in (first, after))
    assert event.description.value == was.description.value


def test_a_visit_called_off_or_confirmed_by_hand_stays_so(season: SeasonDay) -> None:
    """A status set by hand stands until the plan says something new."""
    a = field_ids(season)[0]
    week, empty = planned(season, [a]), planned(season, [])
    off = edited(write(week), "STATUS:CONFIRMED", "STATUS:CANCELLED")
    assert write(week, off) == off
    assert states(write(planned(season, [], [a]), off)) == [(a, 1, "CONFIRMED")]
    kept = edited(write(empty, write(week)), "STATUS:CANCELLED", "STATUS:CONFIRMED")
    assert write(empty, kept) == kept


def test_nothing_is_lost_where_the_mark_is(season: SeasonDay) -> None:
    """A program that drops what it does not know costs no note: what differs is kept as a line."""
    a = field_ids(season)[0]
    week = planned(season, [a])
    first = write(week)
    calendar = vobject.readOne(first.decode())
    del calendar.vevent.contents["x-stagecast-wrote"]
    plain = calendar.serialize().encode()
    assert states(write(week, plain, LATER)) == [(a, 0, "CONFIRMED")]
    calendar.vevent.summary.value = "call the grower"
    (event,) = events(write(week, calendar.serialize().encode())).values()
    assert heads(first) == [event.summary.value]
    assert event.description.value.endswith("\ncall the grower")


def test_a_calendar_saved_by_another_program_is_known_again(season: SeasonDay) -> None:
    """Another order, folding and escaping of the same events is no change of the plan."""
    week = full_week(season)
    first = write(week)
    saved = vobject.readOne(first.decode()).serialize().encode()
    assert saved != first
    assert sorted(states(write(week, saved, LATER))) == sorted(states(first))
    assert LATER not in [
        event.dtstamp.value for event in events(write(week, saved, LATER)).values()
    ]


def test_one_time_of_a_repeated_visit_is_not_ours(season: SeasonDay) -> None:
    """A visit that a person repeats, with one time moved, keeps both events."""
    a = field_ids(season)[0]
    first = write(planned(season, [a]))
    start, end = first.index(b"BEGIN:VEVENT"), first.index(b"END:VCALENDAR")
    other = first[start:end].replace(b"UID:", b"RECURRENCE-ID:20260713T073000\r\nUID:")
    both = write(planned(season, [], [a]), first[:end] + other + first[end:])
    assert other in both
    assert both.count(b"BEGIN:VEVENT") == 2


# --- whatever happens -------------------------------------------------------------------------


PLANS = st.lists(
    st.tuples(
        st.integers(0, 9),
        st.integers(1, 9),
        st.dictionaries(st.integers(0, 3), st.tuples(st.integers(0, 4), st.booleans())),
    ),
    min_size=1,
    max_size=5,
)


@pytest.mark.filterwarnings("ignore:Generating overly large repr")
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(plans=PLANS)
def test_sequences_never_fall_and_the_last_plan_stands(
    plans: list[tuple[int, int, dict[int, tuple[int, bool]]]], season: SeasonDay
) -> None:
    """UIDs stay, each change alone raises SEQUENCE by one, and the days planned are the plan."""
    ids = field_ids(season)[:4]
    before, known = None, {}
    for shift, days, where in plans:
        first_day = MONDAY + shift * ONE_DAY
        walks: dict[tuple[dt.date, str], list[str]] = {}
        for index, (day, second) in where.items():
            day %= days
            scout = "Bo" if second else "Ann"
            walks.setdefault((first_day + day * ONE_DAY, scout), []).append(ids[index])
        week = build_week(season, walks, first_day=first_day, days=days)
        if before is None and not walks:
            continue
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
            if told[3] == "CONFIRMED" and first_day <= told[1].date() <= week.last_day
        )
        stops = [(stop.arrive, stop.field_id) for day in week.days for stop in day.stops]
        assert ahead == sorted(stops)
        assert write(week, after, NOON + 99 * ONE_DAY) == after
        before, known = after, found


def cut(raw: bytes, at: int, size: int) -> bytes:
    """Without some bytes."""
    return raw[: at % len(raw)] + raw[at % len(raw) + size :]


def on_lines(raw: bytes, at: int, size: int, times: int) -> bytes:
    """Some lines in a row dropped, or as often as asked for."""
    lines = raw.splitlines(keepends=True)
    at %= len(lines)
    return b"".join([*lines[:at], *lines[at : at + size] * times, *lines[at + size :]])


HARM = st.one_of(
    st.tuples(st.just("cut"), st.integers(0, 9999), st.integers(1, 90)),
    st.tuples(
        st.just("lines"), st.integers(0, 999), st.integers(1, 20), st.sampled_from([0, 2, 40])
    ),
    st.tuples(
        st.just("put"),
        st.integers(0, 9999),
        st.one_of(
            st.binary(max_size=6),
            st.sampled_from(
                [b"\r", b"\n", b"\r\n ", b":", b";", b'"', b"\\", b"\x00", b"\r\nBEGIN:VEVENT",
                 b"\r\nEND:VEVENT", b"BEGIN:VALARM\r\n", b"\r\nDTSTART:",
                 b"\r\nDTEND;TZID=No/Where:x", b"\r\nX-STAGECAST-WROTE:DTSTART=1/",
                 b"\r\nSEQUENCE:-9", b"9" * 5000]
            ),
        ),
    ),
    st.tuples(st.just("ends"), st.sampled_from([b"\r", b"\n", b"\n\n", b"\n ", b"\x0b"])),
)  # fmt: skip


def harmed(raw: bytes, harm: tuple[Any, ...]) -> bytes:
    """A file after one mishap."""
    if not raw:
        return raw
    match harm:
        case "cut", at, size:
            return cut(raw, at, size)
        case "lines", at, size, times:
            return on_lines(raw, at, size, times)
        case "put", at, what:
            return raw[: at % len(raw)] + what + raw[at % len(raw) :]
        case _, ending:
            return raw.replace(b"\r\n", ending)


@pytest.mark.filterwarnings("ignore:Generating overly large repr")
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(harms=st.lists(HARM, min_size=1, max_size=4), moved=st.booleans())
def test_a_harmed_calendar_is_read_or_refused(
    harms: list[tuple[Any, ...]], moved: bool, season: SeasonDay
) -> None:
    """Whatever became of a file, it is carried on or refused in words; then it stays the same."""
    ids = field_ids(season)[:3]
    raw = write(planned(season, [ids[0]], ids[1:]), FOREIGN.encode())
    for harm in harms:
        raw = harmed(raw, harm)
    week = planned(season, [], ids) if moved else planned(season, ids[:1], ids[2:])
    try:
        after = write(week, raw)
    except SeasonProblems:
        return
    assert write(week, after, LATER) == after
