"""The other looks of a season: when they come, what they rest on, and what they may move."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import pytest
from commands import said
from hypothesis import given
from hypothesis import strategies as st
from log_builder import log_of, sets_of, visit
from season_builder import (
    ONE_DAY,
    YEAR,
    FieldLine,
    Sinusoidal,
    StationFile,
    VisitLine,
    build_season,
    day,
    set_cells,
)

from stagecast.base.dates import said_day
from stagecast.knowledge import load
from stagecast.season.settings.work import LooksSettings
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.other_looks import FieldLook, water_left
from stagecast.visits.revisit import InTime, NextVisit, next_visit
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.morning import LookComes, StageComes, morning_of
from stagecast.words.visits import reason_texts
from stagecast.words.windows import look_text, water_text

KNOWLEDGE = load()
LOOKS = KNOWLEDGE.looks
LEAST = int(KNOWLEDGE.revisit.near_threshold_days)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One field, planted in early May, without visits."""
    return build_season(tmp_path_factory.mktemp("looks"), fields=[FieldLine("F1", day(5, 4))])


@pytest.fixture(scope="module")
def flowering(folder: Path) -> FieldDay:
    """The field on the day after R1."""
    bloom = SeasonDay.open(folder, as_of=day(6, 1)).field("F1").forecast.stages["R1"].p50
    assert bloom is not None
    return SeasonDay.open(folder, as_of=bloom + ONE_DAY).field("F1")


def named(looks: tuple[FieldLook, ...]) -> dict[str, FieldLook]:
    """Looks by their ids."""
    return {one.look.id: one for one in looks}


# --- what they rest on ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stage", "days", "inches"),
    [("R4", 37, 9.0), ("R5", 29, 6.5), ("R6", 18, 3.5), ("R6.5", 10, 1.9), ("R7", 0, 0.0)],
)
def test_the_water_still_needed_is_nebraskas(stage: str, days: int, inches: float) -> None:
    """Days and inches to R7 (University of Nebraska, the last irrigation; NebGuide G1871)."""
    row = water_left(stage, KNOWLEDGE)
    assert row is not None
    assert (row.days, row.inches) == (days, inches)


def test_before_r4_nobody_asks_for_the_last_irrigation() -> None:
    """The table of Nebraska begins at R4."""
    assert water_left("R3", KNOWLEDGE) is None


def test_r6_5_is_as_far_from_r6_as_nebraska_has_it() -> None:
    """18 less 10 days to R7 are 8 (that table); Mississippi and Tennessee say 7 to 10."""
    r6, late = (water_left(stage, KNOWLEDGE) for stage in ("R6", "R6.5"))
    assert r6 is not None
    assert late is not None
    fewest, most = KNOWLEDGE.soybean.between.r6_5.values
    assert fewest <= r6.days - late.days == 8 <= most


def test_water_is_told_in_the_units_of_the_season() -> None:
    """3.5 inches are 89 mm (an inch is 25.4 mm by definition)."""
    row = water_left("R6", KNOWLEDGE)
    assert row is not None
    assert "18 days and 3.5 in of water" in water_text(row, KNOWLEDGE, "us")
    assert "18 days and 89 mm of water" in water_text(row, KNOWLEDGE, "metric")


@pytest.mark.parametrize(
    ("source", "stage", "least", "most"),
    [
        # Saliba and others 1982, Crop Science 22:73-78, in Kansas State MF-2234.
        ("saliba-1982", "R5", 65, 65),
        ("saliba-1982", "R6", 37, 37),
        ("saliba-1982", "R7", 11, 11),
        ("saliba-1982", "R8", 0, 0),
        # North Dakota agronomy experts, September 2025, in the farm press.
        ("nd-frost-2025", "R5", 75, 80),
        ("nd-frost-2025", "R6", 20, 40),
        ("nd-frost-2025", "R7", 0, 5),
    ],
)
def test_frost_takes_what_the_sources_say(source: str, stage: str, least: int, most: int) -> None:
    """Percent of yield that a killing frost takes at a stage, by source."""
    (row,) = [one for one in LOOKS.frost.losses if (one.source, one.stage) == (source, stage)]
    assert (row.least_percent, row.most_percent) == (least, most)


def test_only_the_stand_and_the_r3_decision_may_send_a_scout() -> None:
    """All the others are named with a visit that is made anyway; common practice, no source."""
    assert {one.id for one in LOOKS.look if one.sends} == {"stand-count", "fungicide"}


# --- when they come -------------------------------------------------------------------------------


def test_a_look_has_the_range_of_its_stage(flowering: FieldDay) -> None:
    """The R3 decision begins with R3 and is over when R4 begins."""
    look, stages = named(flowering.looks)["fungicide"], flowering.forecast.stages
    assert (look.opens, look.closes) == (stages["R3"], stages["R4"])


def test_a_look_that_is_over_is_not_told(folder: Path, flowering: FieldDay) -> None:
    """On the day of R4 nobody asks for the R3 decision any more; on the day before it is open."""
    last = flowering.forecast.stages["R4"].p50
    assert last is not None
    for back in (0, 1):
        field = SeasonDay.open(folder, as_of=last - back * ONE_DAY).field("F1")
        r4, found = field.forecast.stages["R4"].p50, named(field.looks)
        assert ("fungicide" in found) == (r4 is not None and r4 > field.season.as_of)


@pytest.mark.parametrize("setting", LooksSettings.model_fields)
def test_every_look_can_be_turned_off(setting: str, tmp_path: Path) -> None:
    """A switch of [looks] takes out its looks and no others."""
    folder = build_season(tmp_path, fields=[FieldLine("F1", day(5, 4))])
    before = named(SeasonDay.open(folder, as_of=day(5, 10)).field("F1").looks)
    toml = folder / "season.toml"
    toml.write_text(f"{toml.read_text('utf-8')}[looks]\n{setting} = false\n", "utf-8")
    after = named(SeasonDay.open(folder, as_of=day(5, 10)).field("F1").looks)
    assert set(after) == {key for key, one in before.items() if one.look.setting != setting}
    assert any(one.setting == setting for one in LOOKS.look)


def test_every_look_has_a_switch() -> None:
    """No look is there that nobody can turn off."""
    assert {one.setting for one in LOOKS.look} == set(LooksSettings.model_fields)


def test_the_last_irrigation_is_asked_only_of_irrigated_fields(tmp_path: Path) -> None:
    """A field says so in its column; one that says nothing is not asked."""
    folder = build_season(tmp_path, fields=[FieldLine("F1", day(5, 4)), FieldLine("F2", day(5, 4))])
    set_cells(folder, "F2", irrigated="yes")
    season = SeasonDay.open(folder, as_of=day(7, 1))
    assert [one.field_id for one in season.fields if "irrigation" in named(one.looks)] == ["F2"]


def test_borers_are_told_where_they_were_found(flowering: FieldDay) -> None:
    """Fields with Dectes come first at harvest (Kansas, Maryland, Delaware)."""
    assert "stem-borer" not in named(flowering.looks)
    for counted, told in ((0, False), (3, True)):
        log = log_of(visit(flowering.season.as_of, sets_of("dectes-stem-borer", [counted])))
        season = SeasonDay.open(
            flowering.season.read.season.path, as_of=log.visits[0].date, log=log
        )
        assert ("stem-borer" in named(season.field("F1").looks)) == told


# --- frost ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OneFrost:
    """The usual weather, and one night of hard frost in some years."""

    years: frozenset[int]
    night: tuple[int, int]

    def __call__(self, on: dt.date) -> tuple[float, float]:
        """Minimum and maximum of a day, degC."""
        low, high = Sinusoidal(mean_c=18.0)(on)
        frost = on.year in self.years and (on.month, on.day) == self.night
        return (-4.0 if frost else low), high


def frost_of(tmp_path: Path, years: set[int], night: dt.date) -> FieldLook | None:
    """The look at frost of a field whose station had such nights in some past years."""
    weather = OneFrost(frozenset(years), (night.month, night.day))
    stations = [StationFile(weather=weather)]
    field = FieldLine("F1", day(5, 20), "late IV")
    folder = build_season(tmp_path, fields=[field], stations=stations)
    return named(SeasonDay.open(folder, as_of=day(7, 1)).field("F1").looks).get("frost")


def test_the_chance_of_frost_is_that_of_past_years(tmp_path: Path) -> None:
    """Of n past seasons of which k had a killing night between R5 and R7, the chance is k in n."""
    plain = build_season(
        tmp_path / "plain",
        fields=[FieldLine("F1", day(5, 20), "late IV")],
        stations=[StationFile(weather=OneFrost(frozenset(), (1, 1)))],
    )
    forecast = SeasonDay.open(plain, as_of=day(7, 1)).field("F1").forecast
    years = forecast.weather.season.member_years
    filled, ripe = forecast.stages["R5"].p90, forecast.stages["R7"].p10
    assert filled is not None
    assert ripe is not None
    night = filled + (ripe - filled) // 2
    for some in (1, len(years) // 2):
        cold = set(years[:some])
        found = frost_of(tmp_path / str(some), cold, night)
        assert found is not None
        assert found.chance == pytest.approx(some / len(years), abs=0.02)
    assert frost_of(tmp_path / "none", set(), night) is None
    after = ripe + 60 * ONE_DAY
    assert frost_of(tmp_path / "after", set(years), after) is None, "ripe beans lose nothing"
    assert all(year < YEAR for year in years)


# --- what they move -------------------------------------------------------------------------------


def decide(
    field: FieldDay, last: dt.date, pressure: Pressure, looks: tuple[FieldLook, ...]
) -> NextVisit:
    """The next visit with some looks and without any window."""
    return next_visit(
        field.forecast,
        (),
        Visit("F1", last, pressure, 2),
        as_of=max(last, field.season.as_of),
        region="TN",
        knowledge=KNOWLEDGE,
        looks=looks,
    )


PRESSURES: list[Pressure] = ["near threshold", "some", "virtually none"]


@given(after=st.integers(0, 60), pressure=st.sampled_from(PRESSURES))
def test_looks_that_send_nobody_move_no_visit(
    flowering: FieldDay, after: int, pressure: Pressure
) -> None:
    """Whatever day it is, a visit is due when it would be without them."""
    last = flowering.season.as_of + after * ONE_DAY
    quiet = tuple(one for one in flowering.looks if not one.look.sends)
    assert decide(flowering, last, pressure, quiet).due == decide(flowering, last, pressure, ()).due


@given(after=st.integers(0, 60), pressure=st.sampled_from(PRESSURES))
def test_the_r3_decision_moves_only_a_visit_that_would_miss_it(
    flowering: FieldDay, after: int, pressure: Pressure
) -> None:
    """Then to the last day before R4, not below five days; any other visit stays where it is."""
    last = flowering.season.as_of + after * ONE_DAY
    look = named(flowering.looks)["fungicide"]
    with_it = decide(flowering, last, pressure, (look,))
    without = decide(flowering, last, pressure, ())
    assert look.closes.p50 is not None
    day_before = look.closes.p50 - ONE_DAY
    moved = [one for one in with_it.reasons if isinstance(one, InTime)]
    misses = without.due is not None and last < look.first and without.due > day_before
    if misses and day_before >= last + LEAST * ONE_DAY:
        assert moved == [InTime(look, without.due)]
        assert with_it.due == day_before
    else:
        assert not moved
        assert with_it.due == without.due


# --- what is said ---------------------------------------------------------------------------------


def test_the_morning_tells_the_r3_decision_in_one_line(tmp_path: Path) -> None:
    """Fields that come to R3 within five days stand in one line, with the decision's name."""
    fields = [FieldLine("F1", day(5, 4)), FieldLine("F2", day(5, 4))]
    visits = [VisitLine(one.field_id, day(6, 10)) for one in fields]
    folder = build_season(tmp_path, fields=fields, visits=visits)
    begins = SeasonDay.open(folder, as_of=day(6, 12)).field("F1").forecast.stages["R3"].p50
    assert begins is not None
    told = morning_of(SeasonDay.open(folder, as_of=begins - 3 * ONE_DAY), None)
    (comes,) = [c for c in told.coming if isinstance(c, StageComes) and c.stage == "R3"]
    assert [look.id for look in comes.looks] == ["fungicide"]
    assert {one.field_id for one, _ in comes.fields} == {"F1", "F2"}
    assert not [c for c in told.coming if isinstance(c, LookComes) and c.look.id == "fungicide"]


def test_a_look_names_its_sources_and_where_they_disagree(flowering: FieldDay) -> None:
    """Harvest aids: a study at R7, mid-South trials at R6.5, and what labels say."""
    look = named(flowering.looks)["harvest-aid"]
    told = look_text(look, as_of=flowering.season.as_of, knowledge=KNOWLEDGE, units="us")
    assert "the sources disagree" in told
    for source in ("Regional IPM centers", "University of Arkansas", "65 percent of pods mature"):
        assert source in told
    assert "the label decides" in told


def why(field: FieldDay) -> list[str]:
    """The reasons of its next visit, or of none, in words."""
    return reason_texts(field.visit, KNOWLEDGE.decisions.treated)


def killed(tmp_path: Path, *, seen_after: bool = False) -> tuple[FieldDay, dt.date]:
    """A field at R6 whose station had a hard frost three days ago, and that night."""
    plain = build_season(tmp_path / "plain", fields=[FieldLine("F1", day(5, 20), "late IV")])
    filled = SeasonDay.open(plain, as_of=day(7, 1)).field("F1").forecast.stages["R6"].p50
    assert filled is not None
    night = filled + 2 * ONE_DAY
    visits = [VisitLine("F1", night + ONE_DAY, "some", "R6")] if seen_after else []
    folder = build_season(
        tmp_path / "frost",
        fields=[FieldLine("F1", day(5, 20), "late IV")],
        visits=visits,
        stations=[StationFile(weather=OneFrost(frozenset({YEAR}), (night.month, night.day)))],
    )
    return SeasonDay.open(folder, as_of=night + 3 * ONE_DAY).field("F1"), night


def test_a_killing_frost_before_r7_closes_a_field_with_a_sentence(tmp_path: Path) -> None:
    """At 28 F the crop dies (University of Wisconsin 2013): no visit for insects is due, and why.

    The screen says it too.
    """
    field, night = killed(tmp_path)
    assert field.visit.due is None
    assert field.insects_end.dates.p50 == night
    (told,) = [text for text in why(field) if "killing frost" in text]
    assert f"had a killing frost on {said_day(night)}, before R7" in told
    on = ("--as-of", field.season.as_of.isoformat(), "--field", "F1")
    screen = said("revisit", tmp_path / "frost", *on, columns=200)
    assert "had a killing frost" in " ".join(screen.split())


def test_a_field_seen_growing_after_a_frost_goes_on(tmp_path: Path) -> None:
    """Low ground freezes first: the eyes of the scout go before the station's thermometer."""
    field, _ = killed(tmp_path, seen_after=True)
    assert field.insects_end.frost is None
    assert not any("killing frost" in text for text in why(field))
