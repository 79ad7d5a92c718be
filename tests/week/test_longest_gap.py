"""No field forgotten: one that is unseen for too long must be walked, and reasons are true."""

from __future__ import annotations

from pathlib import Path

import pytest
from commands import said
from season_builder import ONE_DAY, FieldLine, VisitLine, build_season, day

from stagecast.visits.season_day import SeasonDay
from stagecast.week.days import DayOff, MustNeeds, NotWorthDrive
from stagecast.week.week import WeekRoute, season_route, walk_of
from stagecast.words.week import MOST_NAMED, late_text, late_texts, left_out_text, rooms_texts

TODAY = day(7, 7)
FAR = FieldLine("F1", latitude=36.7)
SEEN = VisitLine("F1", day(6, 28), "virtually none")


def route(folder: Path, toml: str = "", **more: object) -> WeekRoute:
    """The route; by default of a field far away, seen nine days ago in bloom, at a low price."""
    asked = {"fields": [FAR], "visits": [SEEN], **more}
    made = build_season(folder, weather=f"\n[money]\nbean_price = 0.05\n[visits]\n{toml}", **asked)  # type: ignore[arg-type]
    return season_route(SeasonDay.open(made, as_of=TODAY))


def test_a_field_at_its_longest_gap_is_walked(tmp_path: Path) -> None:
    """Far away and at a low price it is not worth the drive, until ten days unseen are over."""
    left = route(tmp_path / "a", "longest_gap_critical_days = 40\nlongest_gap_days = 40")
    assert isinstance(left.left_out[0].why, NotWorthDrive)
    walked = route(tmp_path / "b")
    field = walked.season.field("F1")
    assert field.visit.limit == day(7, 8)
    assert walk_of(field).on is not None


def test_what_must_be_walked_and_does_not_fit_says_what_would_make_room(tmp_path: Path) -> None:
    """The minutes that are named were tried: with them the field is walked, with less it is not."""
    fields = [FieldLine(f"F{i}", latitude=36.0 + i / 100) for i in range(1, 7)]
    visits = [VisitLine(one.field_id, day(6, 25), "some") for one in fields]
    day_of_work = {"fields": fields, "visits": visits, "working_days": ("wed",)}

    def worked(name: str, ends: str) -> WeekRoute:
        hours = f'\n[hours]\nstarts = "07:00"\nends = "{ends}"\nlunch_min = 0\n'
        return route(tmp_path / name, hours, **day_of_work)

    short = worked("short", "09:00")
    whys = [one.why for one in short.left_out]
    needs = min(why.more_min for why in whys if isinstance(why, MustNeeds))
    assert "more on Wed 8 Jul would make room" in left_out_text(short.left_out[0].why)
    minutes = 9 * 60 + needs
    longer = worked("longer", f"{minutes // 60:02}:{minutes % 60:02}")
    assert len(longer.left_out) < len(short.left_out)


def test_a_field_at_its_limit_is_walked_by_that_day(tmp_path: Path) -> None:
    """Each of six fields alike, seen on days apart, is walked by its own last day unseen.

    By the money alone, at a low price, days would be filled in any order.
    """
    fields = [FieldLine(f"F{i}", latitude=36.0 + i / 10) for i in range(1, 7)]
    visits = [
        VisitLine(one.field_id, day(6, 27) + i % 3 * ONE_DAY, "virtually none")
        for i, one in enumerate(fields)
    ]
    found = route(tmp_path, fields=fields, visits=visits)
    assert found.late == found.left_out == ()
    for stop in found.stops:
        limit = stop.plan.visit.limit
        assert limit is not None
        assert TODAY <= limit <= day(7, 9)
        assert stop.arrive.date() <= limit


def test_a_day_off_that_would_make_room_is_told(tmp_path: Path) -> None:
    """Nothing on the days of work helps a field that is open on Thursday alone; a day off does.

    With Thursday worked it is walked.
    """

    def worked(name: str, *days: str) -> WeekRoute:
        folder = tmp_path / name
        build_season(
            folder, fields=[FieldLine("F1")], visits=[VisitLine("F1", day(6, 26), "some")],
            working_days=days,
        )  # fmt: skip
        shut = [f"F1,{day(7, n)},{day(7, n)},,,sprayed" for n in (7, 8, 10, 11, 12, 13)]
        header = "field_id,first_date,last_date,from_time,to_time,why"
        (folder / "blocked.csv").write_text("\n".join([header, *shut, ""]), encoding="utf-8")
        return season_route(SeasonDay.open(folder, as_of=TODAY))

    (left,) = worked("off", "wed", "fri").left_out
    assert left.why == DayOff(day(7, 9), "")
    told = "it must be walked; Thu 9 Jul, a day off, would make room"
    assert left_out_text(left.why) == told
    assert walk_of(worked("on", "wed", "thu", "fri").season.field("F1")).on == day(7, 9)


def test_a_field_that_is_walked_too_late_is_named_with_what_would_make_room(
    tmp_path: Path,
) -> None:
    """With two hours a day not all fit by their last day: the rest is walked next, and told."""
    fields = [FieldLine(f"F{i}", latitude=36.0 + i / 100) for i in range(1, 7)]
    visits = [VisitLine(one.field_id, day(6, 27), "some") for one in fields]
    hours = '\n[hours]\nstarts = "07:00"\nends = "09:00"\nlunch_min = 0\n'
    found = route(tmp_path, hours, fields=fields, visits=visits)
    late = {one.field_id: one for one in found.late}
    assert late
    for stop in found.stops:
        assert (stop.arrive.date() > day(7, 7)) == (stop.field_id in late)
    for one in late.values():
        assert one.limit == day(7, 7)
        assert isinstance(one.room, MustNeeds)
        assert one.room.day == day(7, 7)
        assert f"{one.walked:%a} " in late_text(one)
        assert "more on Tue 7 Jul would make room" in late_text(one)


def test_what_would_make_room_for_late_fields_is_said_once(tmp_path: Path) -> None:
    """One sentence for the fields that it helps, with their number and the first names.

    So is which are late, a sentence a day; all at 80 columns. What makes room was
    tried for each alone, so it says that it makes room for one of them.
    """
    fields = [FieldLine(f"F{i}", latitude=36.0 + i / 100) for i in range(1, 13)]
    visits = [VisitLine(one.field_id, day(6, 27), "some") for one in fields]
    hours = '\n[hours]\nstarts = "07:00"\nends = "09:00"\nlunch_min = 0\n'
    found = route(tmp_path, hours, fields=fields, visits=visits)
    helped: dict[object, list[str]] = {}
    for one in found.late:
        helped.setdefault(one.room, []).append(one.field_id)
    texts = rooms_texts(found.late, lambda plan: plan.field_id)
    assert len(texts) == len(helped) < len(found.late)
    for names, text in zip(helped.values(), texts, strict=True):
        more = [f"{len(names) - MOST_NAMED} more"] * (len(names) > MOST_NAMED)
        many = f"one of {len(names)} fields: {', '.join([*names[:MOST_NAMED], *more])}"
        assert text.endswith(f" would make room for {many if len(names) > 1 else names[0]}")
    days = {one.walked: 0 for one in found.late}
    texts += (late := late_texts(found.late, lambda plan: plan.field_id))
    assert len(late) == len(days) < len(found.late)
    for day_walked, text in zip(days, late, strict=True):
        assert text.startswith(f"Late, walked {day_walked:%a} {day_walked.day} Jul: F")
        assert " to be seen by 7 Jul" in text
    for command in ("plan", "week"):
        screen = said(command, tmp_path, "--as-of", str(TODAY))
        words = " ".join(screen.split())
        assert all(words.count(text) == 1 for text in texts)
        assert all(len(line) <= 80 for line in screen.splitlines())


def test_late_for_the_wish_of_so_many_a_day_is_said_once(tmp_path: Path) -> None:
    """Where no hours but the wish for one field a day makes fields late, that is the sentence."""
    fields = [FieldLine(f"F{i}", latitude=36.0 + i / 100) for i in range(1, 4)]
    visits = [VisitLine(one.field_id, day(6, 27), "some") for one in fields]
    found = route(tmp_path, fields=fields, visits=visits, fields_per_day=1)
    late = [one.field_id for one in found.late]
    assert [one.room for one in found.late] == ["days full"] * 2
    (text,) = rooms_texts(found.late, lambda plan: plan.field_id)
    assert text.endswith(f"as many fields as you want in a day: {', '.join(late)} later")
    screen = " ".join(said("week", tmp_path, "--as-of", str(TODAY)).split())
    assert screen.count(text) == 1


@pytest.mark.parametrize("most", [1, 2])
def test_a_day_as_full_as_wanted_is_not_called_short_of_hours(tmp_path: Path, most: int) -> None:
    """Where only the wish for so many fields a day keeps one out, that is the reason."""
    fields = [FieldLine(f"F{i}", latitude=36.0 + i / 100) for i in range(1, 4)]
    visits = [VisitLine(one.field_id, day(6, 25), "some") for one in fields]
    asked = {"fields": fields, "visits": visits, "working_days": ("wed",), "fields_per_day": most}
    found = route(tmp_path, **asked)
    assert [one.why for one in found.left_out] == ["days full"] * (3 - most)
