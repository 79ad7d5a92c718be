"""No field forgotten: one that is unseen for too long must be walked, and reasons are true."""

from __future__ import annotations

from pathlib import Path

import pytest
from season_builder import FieldLine, VisitLine, build_season, day

from stagecast.visits.season_day import SeasonDay
from stagecast.week.days import MustNeeds, NotWorthDrive
from stagecast.week.week import WeekRoute, season_route, walk_of
from stagecast.words.week import left_out_text

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


@pytest.mark.parametrize("most", [1, 2])
def test_a_day_as_full_as_wanted_is_not_called_short_of_hours(tmp_path: Path, most: int) -> None:
    """Where only the wish for so many fields a day keeps one out, that is the reason."""
    fields = [FieldLine(f"F{i}", latitude=36.0 + i / 100) for i in range(1, 4)]
    visits = [VisitLine(one.field_id, day(6, 25), "some") for one in fields]
    asked = {"fields": fields, "visits": visits, "working_days": ("wed",), "fields_per_day": most}
    found = route(tmp_path, **asked)
    assert [one.why for one in found.left_out] == ["days full"] * (3 - most)
