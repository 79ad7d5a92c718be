"""Past forecasts held against what was seen: honest about time, and right in their arithmetic."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import WIDE, run_command, said
from season_builder import (
    ONE_DAY,
    FieldLine,
    From,
    Sinusoidal,
    StationFile,
    VisitLine,
    build_season,
    day,
    north,
    snapshot,
    write_visits,
    write_weather,
)

from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import LoadedSeason, load_season
from stagecast.forecast.members import FieldMembers, season_members
from stagecast.forecast.observations import stage_ends
from stagecast.forecast.skill import (
    Hindcast,
    Hindsight,
    LeftOut,
    UsualError,
    average_day,
    hindcast,
    planting_line_day,
    summarise,
    usual_error,
)
from stagecast.knowledge import load
from stagecast.knowledge.loader import provenances
from stagecast.phenology.spread import quantile_days
from stagecast.words.notes import usual_error_text

KNOWLEDGE = load()
AVERAGES = KNOWLEDGE.soybean.averages
FEWEST = int(KNOWLEDGE.soybean.skill.fewest)
LEADS = [int(lead) for lead in KNOWLEDGE.soybean.skill.leads.values]
AS_OF = day(8, 31)
SEEN = VisitLine("F1", day(7, 10), "some", "R3", "50")
"""Half of the plants stood in R3 on 10 July: the stage began at midday."""


def index(date: dt.date) -> int:
    """Days since 1 January."""
    return (date - day(1, 1)).days


def past(folder: Path, as_of: dt.date = AS_OF) -> list[Hindcast]:
    """The hindcasts of a folder."""
    return list(hindsight(folder, as_of).hindcasts)


def hindsight(folder: Path, as_of: dt.date = AS_OF) -> Hindsight:
    """The hindcasts of a folder, and what was left out."""
    return hindcast(folder, as_of=as_of)


def forecast_of(folder: Path, as_of: dt.date, field_id: str = "F1") -> FieldForecast:
    """The forecast of a field as of a day."""
    loaded = load_season(folder, as_of=as_of)
    return {f.field.field_id: f for f in forecast_season(loaded)}[field_id]


def middle(forecast: FieldForecast, stage: str) -> tuple[float, ...]:
    """Its 10, 50 and 90 per cent times of a stage."""
    begins, _ = stage_ends(forecast.times, stage)
    return tuple(quantile_days(begins, (0.1, 0.5, 0.9), forecast.weights).tolist())


def told(one: Hindcast) -> tuple[float, ...]:
    """The same of a hindcast."""
    return one.p10, one.p50, one.p90


# --- what a visit is held against -----------------------------------------------------------


def test_leads_are_those_declared() -> None:
    """The day itself, a week, two and four ahead; a trade's habit and our own choice."""
    assert LEADS == [0, 7, 14, 28]


def test_a_visit_is_held_against_the_forecast_of_its_lead(tmp_path: Path) -> None:
    """Error and range are those of the forecast made that many days before, without the visit.

    On the day itself as well: a visit never judges a forecast that learnt from it.
    """
    seen = build_season(tmp_path / "seen", visits=[SEEN])
    unseen = build_season(tmp_path / "unseen")
    found = past(seen)
    assert [h.lead_days for h in found] == LEADS
    noon = index(SEEN.date) + 0.5
    for one in found:
        expected = middle(forecast_of(unseen, SEEN.date - one.lead_days * ONE_DAY), "R3")
        assert told(one) == expected
        assert one.seen == pytest.approx(noon)
        assert one.error_days == pytest.approx(expected[1] - noon)
        assert one.covered == (expected[0] <= noon <= expected[2])
    assert told(found[0]) != middle(forecast_of(seen, SEEN.date), "R3")


@pytest.mark.parametrize(("share", "z"), [("50", 0.0), ("84.134", 1.0), ("15.866", -1.0)])
def test_a_share_of_plants_dates_the_stage(share: str, z: float, tmp_path: Path) -> None:
    """One deviation between plants above half means that half came that many days before."""
    folder = build_season(tmp_path, visits=[replace(SEEN, share_percent=share)])
    sd = float(KNOWLEDGE.soybean.learning.plant_sd)
    expected = index(SEEN.date) + 0.5 - z * sd
    assert [h.seen for h in past(folder)] == pytest.approx([expected] * len(LEADS), abs=1e-3)


def test_a_stage_without_a_share_is_taken_to_be_half_over(tmp_path: Path) -> None:
    """It began half its usual length before midday of the visit."""
    folder = build_season(tmp_path, visits=[replace(SEEN, share_percent="")])
    forecast = forecast_of(build_season(tmp_path / "unseen"), SEEN.date)
    length = float(np.median(forecast.stage_time("R4") - forecast.stage_time("R3")))
    assert length > 5
    for one in past(folder):
        assert one.seen == pytest.approx(index(SEEN.date) + 0.5 - length / 2)


@pytest.mark.parametrize(("after", "leads"), [(13, [0, 7]), (14, [0, 7, 14])])
def test_nothing_is_forecast_before_planting(after: int, leads: list[int], tmp_path: Path) -> None:
    """VC a day short of two weeks after planting has no forecast of then; the day itself counts."""
    visit = VisitLine("F1", FieldLine().planting_date + after * ONE_DAY, "", "VC")
    assert [h.lead_days for h in past(build_season(tmp_path, visits=[visit]))] == leads


def test_visits_without_a_stage_and_later_ones_are_left_out(tmp_path: Path) -> None:
    """Only stages seen up to the day asked for are held against anything."""
    visits = [SEEN, VisitLine("F1", day(6, 20)), VisitLine("F1", day(8, 1), "", "R5")]
    folder = build_season(tmp_path, visits=visits)
    assert {h.stage for h in past(folder, day(7, 31))} == {"R3"}
    assert {h.stage for h in past(folder, day(8, 1))} == {"R3", "R5"}
    assert past(folder, SEEN.date - ONE_DAY) == []


# --- nothing later takes part ---------------------------------------------------------------


def test_a_forecast_learns_from_what_had_been_seen_by_its_day(tmp_path: Path) -> None:
    """R3 a week before had learnt from R1, and two weeks and more before it had not."""
    first = VisitLine("F1", SEEN.date - 10 * ONE_DAY, "", "R1", "80")
    both = past(build_season(tmp_path / "both", visits=[first, SEEN]))
    only_first = build_season(tmp_path / "first", visits=[first])
    none = build_season(tmp_path / "none")
    by_lead = {h.lead_days: h for h in both if h.stage == "R3"}
    for lead, one in by_lead.items():
        made = SEEN.date - lead * ONE_DAY
        folder = only_first if made >= first.date else none
        assert told(one) == middle(forecast_of(folder, made), "R3")
    week = SEEN.date - 7 * ONE_DAY
    assert middle(forecast_of(only_first, week), "R3") != middle(forecast_of(none, week), "R3")


def test_a_sibling_seen_on_the_day_itself_takes_part(tmp_path: Path) -> None:
    """Only the visit that judges is left out; another field's visit of that day was known."""
    fields = (FieldLine("F1"), FieldLine("F2"))
    other = VisitLine("F2", SEEN.date, "", "R3", "20")
    found = past(build_season(tmp_path / "both", fields=fields, visits=[SEEN, other]))
    sibling = build_season(tmp_path / "other", fields=fields, visits=[other])
    one = next(h for h in found if (h.field_id, h.lead_days) == ("F1", 0))
    assert told(one) == middle(forecast_of(sibling, SEEN.date), "R3")
    nobody = build_season(tmp_path / "none", fields=fields)
    assert told(one) != middle(forecast_of(nobody, SEEN.date), "R3")


def test_later_weather_takes_no_part(tmp_path: Path) -> None:
    """Heat from a day on changes the forecasts made after that day, and no earlier one."""
    hot_from = SEEN.date - 9 * ONE_DAY
    folder = build_season(tmp_path, visits=[SEEN])
    before = past(folder)
    weather = From(hot_from, Sinusoidal(), Sinusoidal(mean_c=23.0))
    write_weather(folder, (StationFile(weather=weather),))
    for old, new in zip(before, past(folder), strict=True):
        made = SEEN.date - old.lead_days * ONE_DAY
        assert (told(old) == told(new)) == (made < hot_from)
    write_weather(folder, (StationFile(last=SEEN.date),))
    assert past(folder) == before


def test_later_visits_take_no_part(tmp_path: Path) -> None:
    """What was seen afterwards, here or in a sibling, changes no earlier hindcast."""
    fields = (FieldLine("F1"), FieldLine("F2"))
    folder = build_season(tmp_path, fields=fields, visits=[SEEN])
    before = past(folder)
    later = [VisitLine(f"F{i}", SEEN.date + i * ONE_DAY, "", "R4", "30") for i in (1, 2)]
    write_visits(folder, [*later, SEEN])
    assert [h for h in past(folder) if h.stage == "R3"] == before


def test_the_order_of_visits_does_not_matter(tmp_path: Path) -> None:
    """The rows are the same to the last bit whatever the order of visits.csv."""
    visits = [SEEN, VisitLine("F1", day(6, 22), "", "R1"), VisitLine("F1", day(8, 1), "", "R5")]
    first, second = (
        summarise(past(build_season(tmp_path / name, visits=order)))
        for name, order in (("a", visits), ("b", visits[::-1]))
    )
    assert first == second


# --- nothing more than needed is forecast ----------------------------------------------------


def test_only_fields_seen_and_their_siblings_are_forecast(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each day computes the fields whose visits it judges and what they had learnt from by then.

    F2 is a sibling of F1 and was seen before, F4 is one that never was; F3 has another group.
    """
    computed: dict[dt.date, set[str]] = {}

    def watched(loaded: LoadedSeason) -> list[FieldMembers]:
        found = season_members(loaded)
        computed[loaded.as_of] = {members.field.field_id for members in found}
        return found

    monkeypatch.setattr("stagecast.forecast.skill.season_members", watched)
    fields = [
        FieldLine("F1"),
        FieldLine("F2"),
        FieldLine("F3", maturity_group="3"),
        FieldLine("F4"),
    ]
    early, other = day(7, 1), SEEN.date - 3 * ONE_DAY
    visits = [SEEN, VisitLine("F2", early, "", "R2"), VisitLine("F3", other, "", "R4")]
    past(build_season(tmp_path, fields=fields, visits=visits))
    expected: dict[dt.date, set[str]] = {}
    for lead in LEADS:
        ahead = lead * ONE_DAY
        expected[SEEN.date - ahead] = {"F1", "F2"} if SEEN.date - ahead >= early else {"F1"}
        expected[early - ahead] = {"F2"}
        expected[other - ahead] = {"F3"}
    assert computed == expected


def test_fields_that_were_never_seen_change_nothing(tmp_path: Path) -> None:
    """Every number is the same to the last bit among a dozen more fields on the same station."""
    few = [FieldLine("F1"), FieldLine("F2")]
    more = [
        FieldLine(f"G{i}", day(4, 20) + 3 * i * ONE_DAY, latitude=36.0 + i / 100) for i in range(12)
    ]
    visits = [SEEN, VisitLine("F2", day(7, 1), "", "R2")]
    alone, among = (
        past(build_season(tmp_path / name, fields=fields, visits=visits))
        for name, fields in (("few", few), ("more", [*more[:6], *few, *more[6:]]))
    )
    assert len(alone) == 2 * len(LEADS)
    assert among == alone


# --- plain rules ----------------------------------------------------------------------------


def test_the_planting_line_is_the_least_squares_line() -> None:
    """Through (0,0), (1,1), (2,1), (3,2) it is 0.1 + 0.6 x: 3.1 at 5."""
    points = [(0.0, 0.0), (1.0, 1.0), (2.0, 1.0), (3.0, 2.0)]
    assert planting_line_day(5.0, points, fewest=4) == pytest.approx(3.1)
    assert planting_line_day(1.0, points, fewest=4) == pytest.approx(0.7)


def test_no_line_through_too_few_fields_or_one_planting_day() -> None:
    """Below the fewest, or with no two planting days, there is nothing to draw a line through."""
    points = [(100.0 + 5 * i, 180.0 + 2 * i) for i in range(FEWEST)]
    assert planting_line_day(100.0, points, fewest=FEWEST) == pytest.approx(180.0)
    assert planting_line_day(100.0, points[1:], fewest=FEWEST) is None
    same = [(100.0, 180.0 + i) for i in range(FEWEST)]
    assert planting_line_day(100.0, same, fewest=FEWEST) is None


@pytest.mark.parametrize(
    ("stage", "before", "expected"),
    [
        ("VE", [], 110.0),
        ("R1", [], 149.0),
        ("R3", [], 162.0),
        ("R8", [], 222.0),
        ("R3", [("R1", 155.0)], 168.0),
        ("R5", [("R3", 170.0), ("R1", 150.0)], 188.0),
        ("R5", [("R1", 150.0), ("R3", 170.0)], 188.0),
        ("R5", [("VE", 115.0)], 185.0),
        ("R2", [("R3", 150.0), ("R2", 149.0)], 152.0),
        ("R3", [("V4", 130.0)], 162.0),
        ("V4", [("VE", 110.0)], None),
    ],
)
def test_average_days_from_the_last_stage_seen(
    stage: str, before: list[tuple[str, float]], expected: float | None
) -> None:
    """Planted on day 100: 10 days to VE, 39 to R1, then 3, 10, 9, 9, 15, 18 and 9.

    Fehr and Caviness (1977), as the handbook gives them. The last stage seen before the one
    forecast is where counting begins; later ones, V stages and the order of visits do not matter.
    """
    assert average_day(stage, 100.0, before, averages=AVERAGES) == expected


def test_rules_of_a_folder_are_those_counted_by_hand(tmp_path: Path) -> None:
    """The line goes through the other fields only, averages from what the field had shown."""
    planted = [day(4, 20) + 8 * i * ONE_DAY for i in range(FEWEST + 1)]
    when = [day(7, 1) + shift * ONE_DAY for shift in (0, 5, 9, 12, 19)]
    fields = [FieldLine(f"F{i}", p, latitude=36.0 + i / 100) for i, p in enumerate(planted)]
    visits = [VisitLine(f"F{i}", w, "", "R3", "50") for i, w in enumerate(when)]
    early = VisitLine("F0", day(6, 15), "", "R1", "50")
    found = past(build_season(tmp_path, fields=fields, visits=[*visits, early]))
    x = np.array([index(p) for p in planted], dtype=float)
    y = np.array([index(w) + 0.5 for w in when])
    for i in range(len(fields)):
        others = np.arange(len(fields)) != i
        dx, dy = x[others] - x[others].mean(), y[others] - y[others].mean()
        line = y[others].mean() + (dx @ dy) / (dx @ dx) * (x[i] - x[others].mean())
        own = [h for h in found if h.field_id == f"F{i}" and h.stage == "R3"]
        assert len(own) == len(LEADS)
        for one in own:
            assert one.planting_line == pytest.approx(line)
            seen_before = i == 0 and one.lead_days <= 14
            average = index(early.date) + 0.5 + 13 if seen_before else x[i] + 62
            assert one.average == pytest.approx(average)
    assert all(h.planting_line is None for h in found if h.stage == "R1")


# --- summaries ------------------------------------------------------------------------------


def made(stage: str, lead: int, error: float, **other: float | None) -> Hindcast:
    """A hindcast with a known error and a range of four days about the forecast."""
    one = Hindcast("F1", stage, lead, 100.0, 98.0 + error, 100.0 + error, 102.0 + error, None, None)
    return replace(one, **other)


def test_rows_are_bias_rmse_and_coverage_by_hand() -> None:
    """Errors 3, -1 and 1: bias 1, RMSE the root of 11/3, two of three within two days."""
    (row, everything) = summarise([made("R1", 7, e) for e in (3.0, -1.0, 1.0)])
    assert (row.stage, everything.stage) == ("R1", None)
    assert replace(everything, stage="R1") == row
    assert (row.lead_days, row.visits) == (7, 3)
    assert row.bias_days == pytest.approx(1.0)
    assert row.rmse_days == pytest.approx(math.sqrt(11 / 3))
    assert row.coverage == pytest.approx(2 / 3)


def test_a_grower_is_told_how_far_off_dates_usually_are() -> None:
    """Of errors 0 to 10 days two weeks ahead half are 5 or less and nine in ten 9 or less."""
    rules = load().soybean.skill
    two_weeks = [made("R3", 14, float(day) * (-1) ** day) for day in range(11)]
    usual = usual_error([*two_weeks, made("R3", 28, 40.0)], rules)
    assert usual == UsualError(14, 11, 5.0, 9.0)
    assert usual_error_text(usual, enough=10) == (
        "For growers: of 11 dates that we named two weeks ahead here, half were off by 5 days or "
        "less, nine in ten by 9 days or less."
    )


def test_with_few_visits_two_weeks_ahead_a_shorter_time_is_told_or_none() -> None:
    """The first lead with enough visits speaks; where none has, the sentence says how many."""
    rules = load().soybean.skill
    enough = int(rules.enough)
    week = [made("R3", 7, 0.4)] * enough
    found = usual_error([*week, *week[:3], made("R3", 14, 9.0)], rules)
    assert found is not None
    assert (found.lead_days, found.visits) == (7, enough + 3)
    assert "a week ahead here, half were off by 1 day or less" in usual_error_text(
        found, enough=enough
    )
    assert usual_error(week[:-1], rules) is None
    assert f"{enough} visits are needed" in usual_error_text(None, enough=enough)


def test_stages_never_expected_are_not_hidden_from_a_grower() -> None:
    """Where more than one in ten had not been expected this season, the sentence says so."""
    never = [made("R8", 14, float("inf"))] * 2
    usual = usual_error([*[made("R3", 14, 2.0)] * 9, *never], load().soybean.skill)
    assert "nine in ten by more, some not expected at all" in usual_error_text(usual, enough=10)


@pytest.mark.parametrize("error", [-2.0, 0.0, 2.0])
def test_the_ends_of_a_range_belong_to_it(error: float) -> None:
    """What was seen on the 10th or 90th per cent was within the range."""
    assert made("R1", 0, error).covered
    assert not made("R1", 0, error + math.copysign(2.01, error)).covered


def test_a_rule_stands_beside_ours_on_the_same_visits() -> None:
    """A visit that a rule could not date is left out of both numbers, not of our own row."""
    found = [
        made("R1", 0, 3.0, planting_line=104.0),
        made("R1", 0, 5.0),
        made("R1", 0, 1.0, average=106.0),
    ]
    row, _ = summarise(found)
    assert (row.planting_line_rmse, row.planting_line_ours) == pytest.approx((4.0, 3.0))
    assert (row.average_rmse, row.average_ours) == pytest.approx((6.0, 1.0))
    assert row.rmse_days == pytest.approx(math.sqrt(35 / 3))
    (bare, _) = summarise([made("R1", 0, 5.0)])
    assert (bare.planting_line_rmse, bare.planting_line_ours, bare.average_rmse) == (None,) * 3


def test_one_stage_never_expected_does_not_hide_the_rest() -> None:
    """It is counted, and not held; error and rules are of the others: 3 and -1, and 4 for the line.

    The line dated the missed visit, but beside no forecast there is nothing to compare.
    """
    missed = made("R1", 7, math.inf, planting_line=101.0)
    found = [made("R1", 7, 3.0), made("R1", 7, -1.0, planting_line=104.0), missed]
    row, everything = summarise(found)
    assert (row.visits, row.never_expected) == (3, 1)
    assert row.bias_days == pytest.approx(1.0)
    assert row.rmse_days == pytest.approx(math.sqrt(5.0))
    assert row.coverage == pytest.approx(1 / 3)
    assert (row.planting_line_rmse, row.planting_line_ours) == pytest.approx((4.0, 1.0))
    assert replace(everything, stage="R1") == row


def test_nothing_but_stages_never_expected_leaves_no_error() -> None:
    """Two of two: no bias, no RMSE and no rule, but a coverage of none."""
    row, _ = summarise([made("R7", 0, math.inf, average=99.0), made("R7", 0, math.inf)])
    assert (row.visits, row.never_expected, row.coverage) == (2, 2, 0.0)
    numbers = (row.bias_days, row.rmse_days, row.planting_line_rmse, row.average_rmse)
    assert numbers == (None,) * 4


def test_rows_come_by_stage_and_lead_and_then_all_together() -> None:
    """V10 stands after V9 and before R1, and the rows of all stages stand last."""
    stages = ["R8", "V10", "R1", "VC", "V9", "VE", "V1"]
    rows = summarise([made(s, lead, 1.0) for lead in (14, 0) for s in stages])
    order = ["VE", "VC", "V1", "V9", "V10", "R1", "R8", None]
    assert [(r.stage, r.lead_days) for r in rows] == [(s, lead) for s in order for lead in (0, 14)]
    assert [r.visits for r in rows[-2:]] == [len(stages)] * 2


# --- the command ----------------------------------------------------------------------------

ON_THE_DAY = ("--as-of", f"{AS_OF}")
COLUMNS = [
    "stage", "lead_days", "visits", "never_expected", "bias_days", "rmse_days", "coverage",
    "planting_line_rmse_days", "rmse_days_beside_planting_line",
    "averages_rmse_days", "rmse_days_beside_averages",
]  # fmt: skip


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five fields seen at R3, one of them also as V9 and one at R1; two past seasons."""
    fields = [
        FieldLine(f"F{i}", day(4, 25) + 6 * i * ONE_DAY, latitude=36.0 + i / 100) for i in range(5)
    ]
    visits = [VisitLine("F0", day(6, 6), "", "V9"), VisitLine("F2", day(6, 25), "some", "R1")]
    visits += [
        VisitLine(field.field_id, day(7, 4) + 4 * i * ONE_DAY, "", "R3", "60")
        for i, field in enumerate(fields)
    ]
    station = StationFile(first=dt.date(2024, 1, 1))
    folder = tmp_path_factory.mktemp("log")
    return build_season(folder, fields=fields, stations=(station,), visits=visits)


def document(folder: Path) -> dict[str, Any]:
    """What the command says as JSON."""
    return json.loads(said("skill", folder, *ON_THE_DAY, "--format", "json"))


def test_json_gives_the_rows_and_every_visit_behind_them(log: Path) -> None:
    """Rows can be worked out again from the visits listed, to the last place shown."""
    found = document(log)
    assert list(found) == ["as_of", "rows", "visits", "left_out", "usual"]
    assert found["as_of"] == f"{AS_OF}"
    assert len(found["visits"]) == 7 * len(LEADS)
    stages = [row["stage"] for row in found["rows"]]
    assert stages == [s for s in ("V9", "R1", "R3", None) for _ in LEADS]
    for row in found["rows"]:
        assert list(row) == COLUMNS
        own = [
            v for v in found["visits"]
            if v["lead_days"] == row["lead_days"] and row["stage"] in (None, v["stage"])
        ]  # fmt: skip
        errors = np.array([v["error_days"] for v in own])
        assert row["visits"] == len(own)
        assert row["bias_days"] == pytest.approx(errors.mean(), abs=0.011)
        assert row["rmse_days"] == pytest.approx(np.sqrt((errors**2).mean()), abs=0.011)
        assert row["coverage"] == pytest.approx(np.mean([v["covered"] for v in own]), abs=6e-4)
        assert (row["planting_line_rmse_days"] is None) == (row["stage"] in ("V9", "R1"))
        assert (row["averages_rmse_days"] is None) == (row["stage"] == "V9")


def test_csv_says_what_json_says(log: Path) -> None:
    """Every row and every number, with an empty cell for null."""
    text = said("skill", log, *ON_THE_DAY, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(text), strict=True))
    assert list(rows[0]) == COLUMNS
    expected = document(log)["rows"]
    assert rows == [{c: "" if r[c] is None else str(r[c]) for c in COLUMNS} for r in expected]


def test_table_says_what_json_says(log: Path) -> None:
    """A line per row, to a tenth of a day, and a bar per lead with a mark for half a day."""
    lines = [" ".join(t.split()) for t in said("skill", log, *ON_THE_DAY).splitlines()]
    for row in document(log)["rows"]:
        numbers = [row["lead_days"], row["visits"], row["never_expected"]]
        start = " ".join(map(str, [row["stage"] or "all", *numbers])) + " "
        (line,) = (text for text in lines if text.startswith(start))
        words = line.removeprefix(start).split()
        assert float(words[0]) == pytest.approx(row["bias_days"], abs=0.056)
        assert float(words[2]) == pytest.approx(row["rmse_days"], abs=0.056)
        assert words[4] == f"{100 * row['coverage']:.0f}%"
        rules = [row["planting_line_rmse_days"], row["averages_rmse_days"]]
        numbers = [float(w) for w in words[5:] if w.replace(".", "").isdigit()]
        assert numbers == pytest.approx([r for r in rules if r is not None], abs=0.056)
        if row["stage"] is None:
            (bar,) = (text for text in lines if text.startswith(f"{row['lead_days']} d #"))
            assert bar.count("#") == pytest.approx(2 * row["rmse_days"], abs=0.52)
            assert bar.endswith(f"# {words[2]}")


@pytest.mark.parametrize("columns", [60, 80])
def test_the_table_fits_a_narrow_screen(columns: int, log: Path) -> None:
    """No line is wider than the screen."""
    text = said("skill", log, *ON_THE_DAY, columns=columns)
    assert max(map(len, text.splitlines())) <= columns


def test_the_same_twice_and_no_file_changes(log: Path) -> None:
    """A second run prints what the first printed, and nothing is written."""
    before = snapshot(log)
    for form in ("table", "json", "csv"):
        options = ("skill", log, *ON_THE_DAY, "--format", form)
        assert run_command(*options).out == said(*options)
    assert snapshot(log) == before


@pytest.mark.parametrize("visits", [[], [VisitLine("F1", day(6, 20))]], ids=["none", "no stage"])
def test_a_log_without_stages_says_so(visits: list[VisitLine], tmp_path: Path) -> None:
    """The screen says what to note and where; JSON and CSV are empty, not absent."""
    folder = build_season(tmp_path, visits=visits)
    text = " ".join(said("skill", folder, *ON_THE_DAY).split())
    assert "No stage was seen yet" in text
    assert "the column stage of visits.csv" in text
    nothing = {"rows": [], "visits": [], "left_out": [], "usual": None}
    assert document(folder) == {"as_of": f"{AS_OF}", **nothing}
    csv_text = said("skill", folder, *ON_THE_DAY, "--format", "csv")
    assert csv_text == ",".join(COLUMNS) + "\n"


def test_a_season_without_fields_is_an_empty_log(tmp_path: Path) -> None:
    """Before the first field is written there is nothing to hold against anything."""
    folder = build_season(tmp_path, fields=(), visits=())
    assert "No stage was seen yet" in said("skill", folder, *ON_THE_DAY)


def test_a_stage_that_was_never_expected_is_told_as_such(tmp_path: Path) -> None:
    """R7 seen where the forecast ends the season before it: no number, and no crash."""
    field = FieldLine(planting_date=day(8, 5), maturity_group="8.0", latitude=45.0)
    station = StationFile(latitude=45.0, weather=Sinusoidal(mean_c=7.0))
    visits = [VisitLine("F1", day(10, 20), "", "R7")]
    folder = build_season(tmp_path, fields=(field,), stations=(station,), visits=visits)
    options = ("skill", folder, "--as-of", "2026-11-01")
    found = json.loads(said(*options, "--format", "json"))
    assert {row["rmse_days"] for row in found["rows"]} == {None}
    assert {v["error_days"] for v in found["visits"]} == {None}
    assert {row["never_expected"] for row in found["rows"]} == {1}
    lines = [line.split() for line in said(*options, columns=WIDE).splitlines()]
    for lead in LEADS:
        assert ["R7", str(lead), "1", "1", "-", "-", "0%", "-", "-"] in lines


# --- what could not be judged -----------------------------------------------------------------


@pytest.fixture(scope="module")
def gappy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """F1 within reach of a station, F2 and F3 of none; in F4 no plant was in the stage yet."""
    far = north(FieldLine("F2"), 500.0)
    late = FieldLine("F4", day(6, 1), latitude=36.1)
    fields = [FieldLine("F1"), far, replace(far, field_id="F3", latitude=41.0), late]
    visits = [
        SEEN,
        VisitLine("F2", day(7, 12), "", "R3", "50"),
        VisitLine("F2", day(7, 1), "", "R1"),
        VisitLine("F3", day(7, 1)),
        VisitLine("F3", day(7, 2), "", "R1"),
        VisitLine("F4", day(6, 20), "", "R1", "0"),
    ]
    return build_season(tmp_path_factory.mktemp("gappy"), fields=fields, visits=visits)


NO_STATION = "no station could speak for the field on that day"
NOT_IN_IT = "no plant was in the stage, which tells no day for it"


def test_visits_that_cannot_be_judged_are_listed_with_why(gappy: Path) -> None:
    """Each by field, day and stage, in order of date; a visit without a stage is none of them."""
    ran = run_command("skill", gappy, *ON_THE_DAY, "--format", "json")
    found = json.loads(ran.out)
    assert [list(left.values()) for left in found["left_out"]] == [
        ["F4", "2026-06-20", "R1", NOT_IN_IT],
        ["F2", "2026-07-01", "R1", NO_STATION],
        ["F3", "2026-07-02", "R1", NO_STATION],
        ["F2", "2026-07-12", "R3", NO_STATION],
    ]
    assert list(found["left_out"][0]) == ["field_id", "date", "stage", "why"]
    assert {v["field_id"] for v in found["visits"]} == {"F1"}


def test_the_screen_has_a_sentence_for_each_reason(gappy: Path) -> None:
    """How many visits, of which fields, and why, after the rows of what could be judged."""
    text = run_command("skill", gappy, *ON_THE_DAY, columns=WIDE).out
    assert f"Left out: 3 visits with a stage (F2, F3): {NO_STATION}.\n" in text
    assert f"Left out: 1 visit with a stage (F4): {NOT_IN_IT}.\n" in text
    assert text.count("Left out") == 2
    assert text.index("R3 ") < text.index("Left out")


@pytest.mark.parametrize("form", ["table", "json", "csv"])
def test_refused_fields_are_named_as_the_other_commands_do(form: str, gappy: Path) -> None:
    """Exit code 2 and the sentences of `stages`, after the rows of the others."""
    ran = run_command("skill", gappy, *ON_THE_DAY, "--format", form)
    stages = run_command("stages", gappy, *ON_THE_DAY)
    assert (ran.code, ran.err) == (2, stages.err)
    assert "F2" in ran.err
    assert "R3" in ran.out


def test_nothing_judged_is_not_said_to_be_nothing_seen(tmp_path: Path) -> None:
    """A log of only such visits tells them, and does not ask for stages to be noted."""
    folder = build_season(tmp_path, visits=[VisitLine("F1", day(6, 20), "", "R1", "0")])
    text = said("skill", folder, *ON_THE_DAY)
    assert f"Left out: 1 visit with a stage (F1): {NOT_IN_IT}." in " ".join(text.split())
    assert "No stage was seen yet" not in text


def test_what_is_beyond_reason_spoils_no_score(tmp_path: Path) -> None:
    """R8 a fortnight after planting, surely a slip, is left out with that reason."""
    fields = [FieldLine(f"F{i}", day(4, 20) + 5 * i * ONE_DAY) for i in range(FEWEST + 2)]
    visits = [
        VisitLine(f"F{i}", day(7, 1) + 4 * i * ONE_DAY, "", "R3", "50") for i in range(FEWEST + 1)
    ]
    wrong = VisitLine(fields[-1].field_id, fields[-1].planting_date + 14 * ONE_DAY, "", "R8")
    without, within = (
        hindsight(build_season(tmp_path / name, fields=fields, visits=log))
        for name, log in (("a", visits), ("b", [wrong, *visits]))
    )
    assert all(h.planting_line is not None for h in without.hindcasts)
    assert within.hindcasts == without.hindcasts
    (left,) = within.left_out
    assert left.why == "it contradicts the forecast of its own day beyond reason"


def test_days_on_which_the_field_was_refused_are_told(tmp_path: Path) -> None:
    """Emergence seen after a hole mends it: four weeks ahead, that was not known, and so no row."""
    field = FieldLine(emergence_date=day(5, 14))
    station = StationFile(holes=((day(5, 6), day(5, 12)),))
    visit = VisitLine("F1", day(6, 10), "", "V4")
    folder = build_season(tmp_path, fields=[field], stations=[station], visits=[visit])
    found = hindsight(folder)
    assert [h.lead_days for h in found.hindcasts] == [lead for lead in LEADS if lead < 28]
    (left,) = found.left_out
    assert isinstance(left, LeftOut)
    assert left.visit.date == visit.date
    assert left.why == "only from rows for days on which no station could speak for the field"


# --- unverified values ------------------------------------------------------------------------


def foot(folder: Path, *command: str) -> str:
    """The paragraph of unverified values at the foot of a screen."""
    name, *options = command
    text = run_command(name, folder, *options, *ON_THE_DAY, columns=2000).out
    (line,) = (line for line in text.splitlines() if line.startswith("Unverified"))
    return line


def test_only_skill_tells_the_unverified_averages(log: Path) -> None:
    """Forecasts do not rest on average days between stages; the rule that skill shows does."""
    told = {item.note for _, item in provenances(AVERAGES) if item.unverified}
    crop = {
        item.note for place, item in provenances(KNOWLEDGE.soybean)
        if item.unverified and not place.startswith("averages")
    }  # fmt: skip
    assert told
    assert crop
    assert all(note in foot(log, "skill") for note in told | crop)
    for command in ("stages", "plan"):
        said_there = foot(log, command, "--notes")
        assert all(note in said_there for note in crop)
        assert not any(note in said_there for note in told)


# --- bad input ------------------------------------------------------------------------------


def refused(*arguments: str | Path) -> str:
    """What `skill` says when it refuses: exit code 2, nothing printed as a result."""
    ran = run_command("skill", *arguments)
    assert (ran.code, ran.out) == (2, "")
    assert "Traceback" not in ran.err
    return ran.err


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    """A folder that is not there, or that holds no season, is named."""
    assert "gone" in refused(tmp_path / "gone", *ON_THE_DAY)
    assert "season.toml" in refused(tmp_path, *ON_THE_DAY)


def test_a_date_that_is_none_is_refused(tmp_path: Path) -> None:
    """The sentence names the option and quotes the date."""
    err = refused(build_season(tmp_path), "--as-of", "2026-13-01")
    assert err.startswith("--as-of: ")
    assert "2026-13-01" in err


def test_faults_in_visits_are_all_told(tmp_path: Path) -> None:
    """A bad stage and a bad share are two sentences, each at its line and column."""
    visits = [VisitLine("F1", day(6, 1), "", "R9"), VisitLine("F1", day(6, 8), "", "R1", "140")]
    lines = refused(build_season(tmp_path, visits=visits), *ON_THE_DAY).splitlines()
    assert [line.partition(":")[0] for line in lines] == [
        "visits.csv line 2, stage", "visits.csv line 3, share_percent",
    ]  # fmt: skip


def test_a_season_without_weather_is_refused(tmp_path: Path) -> None:
    """Stages seen, but no temperatures to forecast from: not an empty log, but an error."""
    folder = build_season(tmp_path, visits=[SEEN])
    shutil.rmtree(folder / "weather")
    assert "temperatures" in refused(folder, *ON_THE_DAY)
