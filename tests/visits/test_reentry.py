"""Restricted entry: until when, in which words, and that no screen or plan overlooks it."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from commands import run_command
from hypothesis import given
from hypothesis import strategies as st
from log_builder import KNOWLEDGE, at, log_of, logged, planned, treatment
from season_builder import ONE_DAY, FieldLine, StationFile, VisitLine, build_season, day

from stagecast.season.log.entries import ScoutingLog, Treatment
from stagecast.visits.reentry import first_free_day, no_entry_as_of, no_entry_on, no_entry_until
from stagecast.week.week import walk_of
from stagecast.words.visits import no_entry_text

RULE = KNOWLEDGE.decisions.treated.entry_rule
SPRAYED = at(7, 6, 16)
SECOND = dt.timedelta(seconds=1)
TREATMENTS = st.lists(
    st.builds(
        treatment,
        st.datetimes(at(7, 1), at(7, 10)),
        st.floats(0, 200),
        treatment_id=st.uuids().map(str),
    ),
    max_size=5,
)


def until(log: ScoutingLog, moment: dt.datetime) -> dt.datetime | None:
    """When F1 may be entered again; None when it may at once."""
    held = no_entry_until(log, "F1", moment)
    return None if held is None else held.until


def covers(one: Treatment, moment: dt.datetime) -> bool:
    """Whether a moment lies in the interval, its end left out."""
    hours = dt.timedelta(hours=one.reentry_hours)
    return one.applied_at <= moment < one.applied_at + hours


def touches(one: Treatment, date: dt.date) -> bool:
    """Whether an interval takes any part of a day."""
    begins = dt.datetime.combine(date, dt.time())
    ends = one.applied_at + dt.timedelta(hours=one.reentry_hours)
    return max(one.applied_at, begins) < min(ends, begins + ONE_DAY)


# --- until when ------------------------------------------------------------------------------


def test_the_interval_holds_from_the_treatment_to_its_end_and_not_at_the_end() -> None:
    """24 h from 6 Jul 16:00: closed at once and a second before the end, open at the end."""
    log = log_of(treatment(SPRAYED, 24))
    assert until(log, SPRAYED - SECOND) is None
    assert until(log, SPRAYED) == until(log, at(7, 7, 16) - SECOND) == at(7, 7, 16)
    assert until(log, at(7, 7, 16)) is None


def test_the_longest_of_several_counts_whatever_was_applied_last() -> None:
    """A long interval is not cut short by a later treatment with a short one."""
    long, short = treatment(SPRAYED, 48), treatment(at(7, 6, 18), 4, product="Product B")
    held = no_entry_until(log_of(long, short), "F1", at(7, 6, 19))
    assert held is not None
    assert (held.until, held.treatment.product, held.treatment.treatment_id) == (
        at(7, 8, 16), "Product A", long.treatment_id,
    )  # fmt: skip


def test_a_treatment_before_the_first_is_over_goes_on_from_it() -> None:
    """Entry is promised for the end of both, since between them there is no free moment."""
    log = log_of(treatment(SPRAYED, 24), treatment(at(7, 7, 16), 12, product="Product B"))
    held = no_entry_until(log, "F1", at(7, 6, 20))
    assert held is not None
    assert (held.until, held.treatment.product) == (at(7, 8, 4), "Product B")


def test_a_corrected_treatment_does_not_count_though_it_is_still_listed() -> None:
    """Neither wrong hours nor a wrong field keep a field closed, and the correction does."""
    wrong = treatment(SPRAYED, 240, treatment_id="wrong")
    right = treatment(SPRAYED, 12, treatment_id="right", corrects="wrong")
    moved = treatment(SPRAYED, 12, field_id="F2", treatment_id="moved", corrects="wrong")
    assert until(ScoutingLog((), (wrong, right)), at(7, 6, 20)) == at(7, 7, 4)
    every = ScoutingLog((), (wrong, moved))
    assert until(every, at(7, 6, 20)) is None
    assert no_entry_until(every, "F2", at(7, 6, 20)) is not None


def test_no_hours_close_no_field_and_other_fields_stay_open() -> None:
    """A label without an interval restricts nothing; a field is closed by its own treatments."""
    assert until(log_of(treatment(SPRAYED, 0)), SPRAYED) is None
    assert until(log_of(treatment(SPRAYED, 24, field_id="F2")), SPRAYED) is None


@given(TREATMENTS, st.datetimes(at(7, 1), at(7, 20)))
def test_a_field_is_closed_exactly_while_some_interval_runs(
    treatments: list[Treatment], moment: dt.datetime
) -> None:
    """Closed means that an interval covers the moment; at the time told none does any more."""
    log = log_of(*treatments)
    found = until(log, moment)
    assert (found is not None) == any(covers(t, moment) for t in treatments)
    if found is not None:
        assert found > moment
        assert not any(covers(t, found) for t in treatments)
        assert until(log, found) is None


@given(TREATMENTS, st.dates(day(7, 1), day(7, 20)))
def test_a_free_day_has_no_restricted_moment(treatments: list[Treatment], date: dt.date) -> None:
    """The first free day is the first one of which no interval takes any part."""
    log = log_of(*treatments)
    free = first_free_day(log, "F1", date)
    assert free >= date
    assert not any(touches(t, free) for t in treatments)
    assert no_entry_on(log, "F1", free) is None
    for other in (date + i * ONE_DAY for i in range((free - date).days)):
        assert any(touches(t, other) for t in treatments)


def test_as_it_stood_knows_no_later_treatment() -> None:
    """A field is not called closed on a day before it was treated, and is on that very day."""
    log = log_of(treatment(SPRAYED, 24))
    assert no_entry_as_of(log, "F1", day(7, 5)) is None
    assert no_entry_as_of(log, "F1", day(7, 6)) is not None
    assert no_entry_as_of(log, "F1", day(7, 7)) is not None
    assert no_entry_as_of(log, "F1", day(7, 8)) is None


# --- in words --------------------------------------------------------------------------------


def test_the_words_name_the_end_the_product_the_hours_and_the_rule() -> None:
    """One sentence holds all a person must know, and where the rule stands."""
    held = no_entry_until(log_of(treatment(SPRAYED, 24)), "F1", SPRAYED)
    assert held is not None
    assert no_entry_text(held, RULE) == (
        "do not enter until Tue 7 Jul 16:00 (Product A, 24 h from 6 Jul 16:00; "
        "40 CFR part 170, see the label)"
    )


def test_seconds_are_never_rounded_down() -> None:
    """Nobody is told a minute that still lies inside the interval."""
    held = no_entry_until(log_of(treatment(SPRAYED + SECOND, 24)), "F1", SPRAYED + SECOND)
    assert held is not None
    assert held.until_minute == at(7, 7, 16, 1)
    assert "until Tue 7 Jul 16:01" in no_entry_text(held, RULE)


# --- everywhere ------------------------------------------------------------------------------

CLOSED = log_of(treatment(SPRAYED, 72, product="Product A"))
SENTENCE = "do not enter until Thu 9 Jul 16:00 (Product A, 72 h from 6 Jul 16:00; 40 CFR part 170"
ON_THE_DAY = ("--as-of", "2026-07-07")


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two fields alike, of which one was treated; both are due on the treated one's closed days."""
    station = StationFile(first=dt.date(2022, 1, 1))
    fields = (FieldLine("F1"), FieldLine("F2", latitude=36.01))
    visits = (VisitLine("F1", day(7, 1)), VisitLine("F2", day(7, 1)))
    folder = tmp_path_factory.mktemp("closed")
    return build_season(folder, fields=fields, stations=(station,), visits=visits)


@pytest.mark.parametrize(
    "command",
    [
        ("plan",), ("revisit",), ("windows",), ("stages",), ("check",),
        ("plan", "--field", "F1"), ("revisit", "--field", "F1"),
        ("windows", "--field", "F1"), ("stages", "--field", "F1"),
    ],
)  # fmt: skip
def test_every_screen_says_which_field_is_closed(command: tuple[str, ...], season: Path) -> None:
    """The treated field is told with the end, the product and the rule; the other one is not."""
    name, *options = command
    with logged(CLOSED):
        told = run_command(name, season, *ON_THE_DAY, *options, columns=240)
    assert told.code == 0, told.err
    assert f"F1: {SENTENCE}" in told.out
    assert "F2: do not enter" not in told.out
    assert "do not enter" not in run_command(name, season, *ON_THE_DAY, *options, columns=240).out


@pytest.mark.parametrize("options", [(), ("--field", "F1")])
def test_the_pest_screen_says_it_too(options: tuple[str, ...], season: Path) -> None:
    """Also where fields are listed under a station."""
    with logged(CLOSED):
        told = run_command("pest", "stink-bugs", season, *ON_THE_DAY, *options, columns=240)
    assert told.code == 0, told.err
    assert f"F1: {SENTENCE}" in told.out


@pytest.mark.parametrize(
    ("command", "items"),
    [("plan", "fields"), ("revisit", "visits"), ("windows", "windows"), ("stages", "fields")],
)
def test_json_and_csv_carry_the_end(command: str, items: str, season: Path) -> None:
    """Programs read the moment as ISO 8601, null for a field that is open; CSV has the same."""
    with logged(CLOSED):
        told = run_command(command, season, *ON_THE_DAY, "--format", "json").out
        csv = run_command(command, season, *ON_THE_DAY, "--format", "csv").out
    found = {(i["field_id"], i["no_entry_until"]) for i in json.loads(told)[items]}
    assert found == {("F1", "2026-07-09T16:00"), ("F2", None)}
    why = {i["no_entry"] for i in json.loads(told)[items] if i["field_id"] == "F1"}
    assert len(why) == 1
    assert why.pop().startswith(SENTENCE)
    assert "no_entry_until" in csv.splitlines()[0]
    assert "2026-07-09T16:00" in csv


def test_json_of_a_pest_names_closed_fields(season: Path) -> None:
    """Each place lists its closed fields, and each window says it of its own field."""
    with logged(CLOSED):
        told = run_command("pest", "stink-bugs", season, *ON_THE_DAY, "--format", "json").out
    (place,) = json.loads(told)["places"]
    assert [c["field_id"] for c in place["closed_fields"]] == ["F1"]
    ends = {(w["field_id"], w["no_entry_until"]) for w in place["windows"]}
    assert ends == {("F1", "2026-07-09T16:00"), ("F2", None)}


# --- the week --------------------------------------------------------------------------------


def test_the_week_leaves_a_closed_field_alone(season: Path) -> None:
    """Both fields are due on 8 Jul; the closed one is walked from 10 Jul on, the other in time."""
    plan = planned(season, CLOSED, day(7, 7))
    closed, other = (walk_of(one) for one in plan.fields)
    assert other.on is not None
    assert other.on <= day(7, 8)
    assert closed.on is not None
    assert closed.on >= day(7, 10)


@pytest.mark.parametrize("hours", [1, 12, 24, 48, 72, 100, 168, 400])
@pytest.mark.parametrize("sprayed", [at(6, 30, 8), at(7, 6, 16), at(7, 7, 6), at(7, 9, 20)])
def test_no_day_of_the_week_lies_inside_an_interval(
    hours: float, sprayed: dt.datetime, season: Path
) -> None:
    """Whatever is sprayed when, also later in the week, no day that is planned is touched by it."""
    log = log_of(treatment(sprayed, hours))
    plan = planned(season, log, day(7, 7))
    (field,) = (f for f in plan.fields if f.forecast.field.field_id == "F1")
    walked = walk_of(field).day
    assert walked is None or no_entry_on(log, "F1", walked) is None
    assert field.visit.due is not None
    assert no_entry_on(log, "F1", max(field.visit.due, day(7, 7))) is None


def test_an_interval_beyond_all_calendars_is_a_year() -> None:
    """Hours that an old log may hold and no date can be moved by close the field for a year."""
    endless = Treatment("t1", "F1", "something", dt.datetime(2026, 7, 6, 12), 1e300)
    held = no_entry_until(ScoutingLog((), (endless,)), "F1", dt.datetime(2026, 7, 7))
    assert held is not None
    assert held.until == dt.datetime(2027, 7, 6, 12)
