"""Learning from stages seen: through season folders, and by the members of a forecast."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, permutations
from pathlib import Path

import numpy as np
import pytest
from commands import WIDE, run_command, said
from hypothesis import given
from hypothesis import strategies as st
from season_builder import (
    ONE_DAY,
    Constant,
    FieldLine,
    StationFile,
    VisitLine,
    build_season,
    day,
    write_visits,
)

from stagecast.base.errors import SeasonProblems
from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import LoadedSeason, load_season
from stagecast.forecast.members import FieldMembers, season_members
from stagecast.forecast.observations import learn, stage_ends
from stagecast.knowledge import load
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import quantile_days
from stagecast.season.tables.visits import Visit
from stagecast.visits.season_day import SeasonDay

KNOWLEDGE = load()
LEARNING = KNOWLEDGE.soybean.learning
AS_OF = day(7, 31)
# 80% of a normal error of 1.6 days lie within 2 x 1.2816 x 1.6 days.
ONE_LOOK_DAYS = 4.102
LATER_THAN = {"V3": STAGES[6:], "V7": STAGES[6:], "R1": STAGES[7:], "R4": STAGES[10:]}


def forecasts(folder: Path, as_of: dt.date = AS_OF) -> dict[str, FieldForecast]:
    """Every field's forecast, by field_id."""
    loaded = load_season(folder, as_of=as_of)
    return {f.field.field_id: f for f in forecast_season(loaded)}


def mean(forecast: FieldForecast, stage: str) -> float:
    """Weighted mean time of a stage."""
    return float(forecast.weights @ stage_ends(forecast.times, stage)[0])


def spread(forecast: FieldForecast, stage: str) -> float:
    """Weighted standard deviation of a stage's time, days."""
    times, _ = stage_ends(forecast.times, stage)
    return float(np.sqrt(forecast.weights @ (times - mean(forecast, stage)) ** 2))


def seen_on(forecast: FieldForecast, stage: str, shift: int, share: str = "") -> VisitLine:
    """A visit that saw a stage some days after the forecast would have it.

    With a share that is the day on which the stage most likely begins, else its middle.
    """
    begins, ends = stage_ends(forecast.times, stage)
    likely = forecast.span.date(float(np.median(begins if share else (begins + ends) / 2)))
    assert likely is not None
    return VisitLine(forecast.field.field_id, likely + shift * ONE_DAY, "", stage, share)


def untaught(forecast: FieldForecast) -> bool:
    """Whether nothing was learnt: no lesson, and every member counts alike."""
    same = np.allclose(forecast.weights, 1 / len(forecast.weights))
    return bool(same) and forecast.lessons == () and forecast.unlearnt is None


# --- the field itself -----------------------------------------------------------------------


@pytest.mark.parametrize("stage", LATER_THAN)
def test_a_stage_seen_moves_all_later_stages_its_way(stage: str, tmp_path: Path) -> None:
    """Seen five days early, what follows comes sooner than unseen; five days late, later."""
    folder = build_season(tmp_path)
    before = forecasts(folder)["F1"]
    found = []
    for shift in (-5, 5):
        write_visits(folder, [seen_on(before, stage, shift)])
        found.append(forecasts(folder)["F1"])
    early, late = found
    for name in LATER_THAN[stage]:
        assert mean(early, name) < mean(before, name) < mean(late, name)
    assert mean(early, stage) < mean(before, stage) < mean(late, stage)


def test_the_forecast_after_a_stage_is_surer_and_nearer_to_what_was_seen(tmp_path: Path) -> None:
    """R4 seen leaves R4 to R7 less scattered, and R4 between the forecast and the visit."""
    folder = build_season(tmp_path)
    before = forecasts(folder)["F1"]
    visit = seen_on(before, "R4", 5, "50")
    write_visits(folder, [visit])
    after = forecasts(folder)["F1"]
    for stage in ("R4", "R5", "R6", "R7"):
        assert spread(after, stage) < spread(before, stage)
    noon = before.span.index(visit.date) + 0.5
    assert mean(before, "R4") < mean(after, "R4") < noon
    assert noon - mean(after, "R4") < 0.5 * (noon - mean(before, "R4"))


def test_the_more_plants_are_in_a_stage_the_sooner_it_began(tmp_path: Path) -> None:
    """On one day, a tenth, half and nine tenths of plants date R3 later to sooner."""
    folder = build_season(tmp_path)
    before = forecasts(folder)["F1"]
    means = []
    for share in ("10", "50", "90"):
        write_visits(folder, [seen_on(before, "R3", 0, share)])
        after = forecasts(folder)["F1"]
        assert [lesson.used for lesson in after.lessons] == [True]
        means.append(mean(after, "R3"))
    assert means == sorted(means, reverse=True)
    assert means[0] - means[2] > 1.0


def test_a_second_look_makes_surer_still(tmp_path: Path) -> None:
    """R1 and then R3 seen leave R5 less scattered than R1 alone."""
    folder = build_season(tmp_path)
    before = forecasts(folder)["F1"]
    visits = [seen_on(before, "R1", 3), seen_on(before, "R3", 3)]
    write_visits(folder, visits[:1])
    once = forecasts(folder)["F1"]
    write_visits(folder, visits)
    twice = forecasts(folder)["F1"]
    assert spread(before, "R5") > spread(once, "R5") > spread(twice, "R5")


def test_windows_and_the_next_stage_follow_what_was_seen(tmp_path: Path) -> None:
    """The pod-fill windows of a field seen late open later; the stage now moves back."""
    folder = build_season(tmp_path)
    before = forecasts(folder)["F1"]
    visit = seen_on(before, "R3", 6)
    plans = []
    for visits in ([], [visit]):
        write_visits(folder, visits)
        (plan,) = SeasonDay.open(folder, as_of=visit.date).fields
        plans.append(plan)
    unseen, seen = plans
    assert (unseen.forecast.stage_now, seen.forecast.stage_now) == ("R4", "R3")
    closes = [
        next(w for w in plan.windows if w.window == "bloom-to-full-seed").closes.p50
        for plan in plans
    ]
    assert closes[0] is not None
    assert closes[1] is not None
    assert closes[0] < closes[1]


# --- siblings and other fields --------------------------------------------------------------

TAUGHT = FieldLine("F1", day(5, 4), "4.5")
ALIKE = {
    "twin": replace(TAUGHT, field_id="F2"),
    "six days": replace(TAUGHT, field_id="F2", planting_date=day(5, 10)),
    "near group": replace(TAUGHT, field_id="F2", maturity_group="4.8"),
    "near group written otherwise": replace(TAUGHT, field_id="F2", maturity_group="IV early"),
}
UNLIKE = {
    "a week": replace(TAUGHT, field_id="F2", planting_date=day(5, 11)),
    "a week before": replace(TAUGHT, field_id="F2", planting_date=day(4, 27)),
    "other group": replace(TAUGHT, field_id="F2", maturity_group="4.9"),
    "other habit": replace(TAUGHT, field_id="F2", growth_habit="determinate"),
    "other station": replace(TAUGHT, field_id="F2", station="S2"),
}
STATIONS = (StationFile(), StationFile("S2", latitude=36.1))


@pytest.mark.parametrize("shift", [-5, 5])
@pytest.mark.parametrize("sibling", ALIKE.values(), ids=ALIKE)
def test_a_sibling_learns_too_but_less(sibling: FieldLine, shift: int, tmp_path: Path) -> None:
    """Its later stages move the same way, by less of their own spread than the seen field's."""
    folder = build_season(tmp_path, fields=(TAUGHT, sibling), stations=STATIONS)
    before = forecasts(folder)
    write_visits(folder, [seen_on(before["F1"], "R3", shift, "50")])
    after = forecasts(folder)
    assert [(x.own, x.used) for x in after["F1"].lessons] == [(True, True)]
    assert [(x.own, x.used) for x in after["F2"].lessons] == [(False, True)]
    for stage in ("R3", "R5", "R7"):
        own, other = (
            (mean(after[i], stage) - mean(before[i], stage)) / spread(before[i], stage)
            for i in ("F1", "F2")
        )
        assert np.sign(own) == np.sign(other) == np.sign(shift)
        assert 0.0 < abs(other) < abs(own)
    assert spread(after["F2"], "R3") < spread(before["F2"], "R3")


@pytest.mark.parametrize("other", UNLIKE.values(), ids=UNLIKE)
def test_other_fields_learn_nothing(other: FieldLine, tmp_path: Path) -> None:
    """Another station, planting week, group or habit: one difference is enough."""
    folder = build_season(tmp_path, fields=(TAUGHT, other), stations=STATIONS)
    before = forecasts(folder)
    write_visits(folder, [seen_on(before["F1"], "R3", 5, "50")])
    after = forecasts(folder)
    assert not untaught(after["F1"])
    assert untaught(after["F2"])
    assert after["F2"].stages == before["F2"].stages


def test_a_sibling_seen_as_early_as_forecast_does_not_hasten_a_later_field(
    tmp_path: Path,
) -> None:
    """What counts is how far the sibling was off, not that it was planted six days before."""
    fields = (TAUGHT, ALIKE["six days"])
    folder = build_season(tmp_path, fields=fields)
    before = forecasts(folder)
    assert mean(before["F2"], "R3") - mean(before["F1"], "R3") > 2.0
    write_visits(folder, [seen_on(before["F1"], "R3", 0)])
    after = forecasts(folder)["F2"]
    assert [lesson.used for lesson in after.lessons] == [True]
    assert abs(mean(after, "R3") - mean(before["F2"], "R3")) < 0.7


def test_a_fields_own_eyes_have_the_last_word(tmp_path: Path) -> None:
    """Seen late itself and its sibling early, a field ends up late."""
    folder = build_season(tmp_path, fields=(TAUGHT, ALIKE["twin"]))
    before = forecasts(folder)
    write_visits(folder, [seen_on(before["F1"], "R3", -3), seen_on(before["F2"], "R3", 4)])
    after = forecasts(folder)
    assert mean(after["F2"], "R5") > mean(before["F2"], "R5")
    assert mean(after["F1"], "R5") < mean(before["F1"], "R5")
    assert [lesson.own for lesson in after["F2"].lessons] == [False, True]


# --- what is not learnt from ----------------------------------------------------------------


def test_visits_after_the_day_asked_for_teach_nothing(tmp_path: Path) -> None:
    """As of the eve of a visit the forecast is as without it; on its day it has learnt."""
    folder = build_season(tmp_path)
    visit = seen_on(forecasts(folder)["F1"], "R2", 3)
    eve = visit.date - ONE_DAY
    before = forecasts(folder, eve)["F1"]
    write_visits(folder, [visit])
    again = forecasts(folder, eve)["F1"]
    assert untaught(again)
    assert again.stages == before.stages
    assert not untaught(forecasts(folder, visit.date)["F1"])


def test_visits_without_a_stage_teach_nothing(tmp_path: Path) -> None:
    """Pressure says nothing of growth."""
    visits = [VisitLine("F1", day(6, 20), "near threshold"), VisitLine("F1", day(6, 27))]
    assert untaught(forecasts(build_season(tmp_path, visits=visits))["F1"])


def test_a_contradiction_is_kept_and_flagged_and_not_learnt_from(tmp_path: Path) -> None:
    """R5 three weeks after planting moves nothing, and is doubted once, at its line and column.

    It still counts as a visit, and a later credible stage is learnt from.
    """
    folder = build_season(tmp_path, fields=(TAUGHT, ALIKE["twin"]))
    before = forecasts(folder)
    good = replace(seen_on(before["F1"], "R3", 2), field_id="F2")
    wrong = VisitLine("F1", day(5, 25), "", "R5")
    write_visits(folder, [VisitLine("F2", day(5, 20)), wrong])
    after = forecasts(folder)
    for field_id in ("F1", "F2"):
        assert after[field_id].stages == before[field_id].stages
        assert after[field_id].unlearnt is None
        np.testing.assert_allclose(after[field_id].weights, 1 / len(before["F1"].times))
    assert [(x.own, x.used) for x in after["F1"].lessons] == [(True, False)]
    plan = SeasonDay.open(folder, as_of=AS_OF)
    (doubt,) = (d for d in plan.doubts if d.file == "visits.csv")
    assert doubt.doubtful
    assert (doubt.line, doubt.column, doubt.field_id) == (3, "stage", "F1")
    assert plan.fields[0].visit.last_visit == wrong.date
    told = run_command("check", folder, "--as-of", f"{AS_OF}", columns=1000)
    assert told.code == 0
    (line,) = (text for text in told.out.splitlines() if "contradicts" in text)
    assert line.startswith("doubtful: visits.csv line 3, stage (field F1): ")
    assert "R5 on 2026-05-25" in line
    write_visits(folder, [VisitLine("F2", day(5, 20)), wrong, good])
    assert forecasts(folder)["F2"].unlearnt is not None


@pytest.mark.parametrize("before", [0, 9])
def test_a_stage_up_to_planting_is_an_error(before: int, tmp_path: Path) -> None:
    """Nothing grows before it is sown, nor on the day; that no plant is up yet may be noted."""
    planted = FieldLine().planting_date
    noted = VisitLine("F1", planted - before * ONE_DAY, "", "VE")
    folder = build_season(tmp_path, visits=[noted])
    with pytest.raises(SeasonProblems, match=f"not after planting, {planted} .fields.csv line 2"):
        SeasonDay.open(folder, as_of=AS_OF)
    write_visits(folder, [replace(noted, share_percent="0")])
    SeasonDay.open(folder, as_of=AS_OF)


def test_stages_that_go_backwards_are_doubted_and_kept(tmp_path: Path) -> None:
    """R2 a week after R3, and a seedling stage after nodes: both told, with both lines."""
    visits = [
        VisitLine("F1", day(6, 1), "", "V5"), VisitLine("F1", day(6, 3), "", "VC"),
        VisitLine("F1", day(7, 14), "", "R3"), VisitLine("F1", day(7, 21), "", "R2"),
        VisitLine("F1", day(7, 22), "", "V12"), VisitLine("F1", day(7, 23), "", "R3"),
    ]  # fmt: skip
    folder = build_season(tmp_path, visits=visits)
    told = [d for d in load_season(folder, as_of=AS_OF).doubts
            if "backwards" in d.message]  # fmt: skip
    assert [(d.line, d.doubtful) for d in told] == [(3, True), (5, True)]
    assert "R2 on 2026-07-21 comes after R3 on 2026-07-14 (line 4)" in told[1].message


def test_a_credible_stage_is_not_doubted(tmp_path: Path) -> None:
    """Off by less than a week is a lesson, not a doubt."""
    folder = build_season(tmp_path)
    write_visits(folder, [seen_on(forecasts(folder)["F1"], "R3", -6)])
    plan = SeasonDay.open(folder, as_of=AS_OF)
    assert [d for d in plan.doubts if d.file == "visits.csv"] == []


# --- order and file -------------------------------------------------------------------------


def test_the_order_of_rows_does_not_matter(tmp_path: Path) -> None:
    """Whatever the order of visits.csv, the documents are the same to the byte."""
    folder = build_season(tmp_path, fields=(TAUGHT, ALIKE["six days"]))
    before = forecasts(folder)
    visits = [
        seen_on(before["F1"], "R1", 2), seen_on(before["F1"], "R4", 4, "40"),
        seen_on(before["F2"], "R1", -2), seen_on(before["F2"], "V6", 1),
    ]  # fmt: skip
    texts = set()
    for order in list(permutations(visits))[::5]:
        write_visits(folder, order)
        ran = run_command("stages", folder, "--as-of", f"{AS_OF}", "--format", "json")
        texts.add(ran.out)
    (text,) = texts
    assert text.count('"used": true') == 8


# --- V stages past the fourth ---------------------------------------------------------------


@pytest.mark.parametrize("number", [4, 5, 8])
def test_late_v_stages_go_on_at_the_pace_of_a_node(number: int, tmp_path: Path) -> None:
    """In constant warmth the n-th node is n - 1 phyllochrons after the first, in every member."""
    station = StationFile(first=dt.date(2024, 1, 1), weather=Constant(26.0, 1.0))
    forecast = forecasts(build_season(tmp_path, stations=(station,)))["F1"]
    v1, v2 = (forecast.stage_time(stage) for stage in ("V1", "V2"))
    begins, ends = stage_ends(forecast.times, f"V{number}")
    np.testing.assert_allclose(begins, v1 + (number - 1) * (v2 - v1))
    np.testing.assert_allclose(ends - begins, v2 - v1)


def test_each_stage_ends_where_the_next_begins(tmp_path: Path) -> None:
    """From VE to V9 and from R1 to R8 there is no gap; R8 has no end."""
    times = forecasts(build_season(tmp_path))["F1"].times
    vegetative = ["VE", "VC", *(f"V{n}" for n in range(1, 10))]
    for chain in (vegetative, [f"R{n}" for n in range(1, 9)]):
        for stage, following in pairwise(chain):
            _, ends = stage_ends(times, stage)
            begins, _ = stage_ends(times, following)
            np.testing.assert_array_equal(ends, begins)
            np.testing.assert_array_less(stage_ends(times, stage)[0], ends)
    assert np.isposinf(stage_ends(times, "R8")[1]).all()


# --- by the members -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> tuple[LoadedSeason, list[FieldMembers]]:
    """Two siblings and a field like no other, with their members before anything is learnt."""
    fields = (TAUGHT, ALIKE["six days"], replace(TAUGHT, field_id="F3", maturity_group="III"))
    folder = build_season(tmp_path_factory.mktemp("learning"), fields=fields)
    loaded = load_season(folder, as_of=AS_OF)
    return loaded, season_members(loaded)


def taught(
    season: tuple[LoadedSeason, list[FieldMembers]], place: int, visits: Sequence[Visit]
) -> np.ndarray:
    """One field's members after some visits: a row of stage times, and the weight."""
    loaded, everyone = season
    learnt = learn(everyone[place], everyone, visits, span=loaded.span, learning=LEARNING)
    return np.column_stack([learnt.members.times, learnt.weights])


def width(times: np.ndarray, weights: np.ndarray) -> float:
    """Days between the tenth and the ninetieth per cent."""
    first, last = quantile_days(times, (0.1, 0.9), weights)
    return float(last - first)


VISITS = st.builds(
    Visit,
    field_id=st.sampled_from(["F1", "F2", "F3"]),
    date=st.dates(day(5, 8), AS_OF),
    pressure=st.none(),
    line=st.just(2),
    stage=st.sampled_from([*STAGES, "V5", "V8", "V11"]),
    share=st.none() | st.floats(0.0, 1.0),
)


@given(visit=VISITS)
def test_a_range_never_widens_by_seeing_its_stage(
    visit: Visit, season: tuple[LoadedSeason, list[FieldMembers]]
) -> None:
    """Whatever was seen whenever, the named stage is as sure as before or surer, everywhere.

    But for what the drift's own draws come to by chance, and never surer than a person can date.
    """
    for place, members in enumerate(season[1]):
        stage = visit.stage or ""
        begins, _ = stage_ends(members.times, stage)
        learnt = taught(season, place, [visit])
        weights = learnt[:, -1]
        assert weights.sum() == pytest.approx(1.0)
        assert (weights >= 0.0).all()
        before = width(begins, np.ones(len(weights)))
        after = width(stage_ends(learnt[:, :-1], stage)[0], weights)
        assert after <= 1.2 * max(before, ONE_LOOK_DAYS)


@given(
    visits=st.lists(VISITS, max_size=5, unique_by=lambda v: (v.field_id, v.date)),
    order=st.permutations(range(5)),
)
def test_learning_does_not_depend_on_the_order_of_visits(
    visits: list[Visit],
    order: list[int],
    season: tuple[LoadedSeason, list[FieldMembers]],
) -> None:
    """Any shuffle of any visits gives the same members to the last bit."""
    shuffled = [visits[i] for i in order if i < len(visits)]
    for place in range(3):
        np.testing.assert_array_equal(
            taught(season, place, visits), taught(season, place, shuffled)
        )


# --- shown ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A season in which F1 was seen, F2 is its sibling and F3 no kin; and it without visits."""
    fields = (TAUGHT, ALIKE["twin"], replace(TAUGHT, field_id="F3", maturity_group="III"))
    plain = build_season(tmp_path_factory.mktemp("plain"), fields=fields)
    before = forecasts(plain)
    visits = [seen_on(before["F1"], "R3", 5, "60"), VisitLine("F1", day(5, 25), "", "R5")]
    return build_season(tmp_path_factory.mktemp("seen"), fields=fields, visits=visits), plain


ON_THE_DAY = ("--as-of", f"{AS_OF}")


def test_json_has_the_forecast_before_and_after_and_what_was_seen(
    shown: tuple[Path, Path],
) -> None:
    """Before is the forecast of the same season without visits; a field untaught has none."""
    after, before = (
        json.loads(said("stages", folder, *ON_THE_DAY, "--format", "json"))["fields"]
        for folder in shown
    )
    visit = {"field_id": "F1", "date": "2026-07-15", "stage": "R3", "share": 0.6, "used": True}
    wrong = {"field_id": "F1", "date": "2026-05-25", "stage": "R5", "share": None, "used": False}
    visit["date"] = after[1]["seen"][-1]["date"]
    assert after[0]["seen"] == after[1]["seen"] == [wrong, visit]
    for learnt, unlearnt in zip(after[:2], before[:2], strict=True):
        assert learnt["stages_before_seen"] == unlearnt["stages"]
        assert learnt["stages"]["R5"]["p50"] > unlearnt["stages"]["R5"]["p50"]
    assert (after[2]["seen"], after[2]["stages_before_seen"]) == ([], None)
    assert after[2]["stages"] == before[2]["stages"]
    assert all(field["stages_before_seen"] is None for field in before)


def test_the_table_says_what_was_learnt_and_what_it_changed(shown: tuple[Path, Path]) -> None:
    """One line per field that learnt: the stage and its day, the next stage now and before."""
    after, before = (
        said("stages", folder, *ON_THE_DAY, "--notes", columns=WIDE) for folder in shown
    )
    assert "learnt" not in before
    line = (
        r"^(F\d): learnt from R3 on \d+ Jul(?: in F1)?; (R\d) .*?, before that ([^;]*?)(?:;.*)?\s*$"
    )
    found = re.findall(line, after, re.MULTILINE)
    assert [field_id for field_id, *_ in found] == ["F1", "F2"]
    for field_id, stage, dates in found:
        alone = said("stages", shown[1], *ON_THE_DAY, "--field", field_id, columns=WIDE)
        assert re.search(rf"^{stage} +{re.escape(dates)} ", alone, re.MULTILINE)


def test_one_field_in_detail_shows_each_lesson_and_both_forecasts(
    shown: tuple[Path, Path],
) -> None:
    """With --field: seen here or in a field like this one, learnt from or not, both columns."""
    own = said("stages", shown[0], *ON_THE_DAY, "--field", "F1", columns=WIDE)
    assert re.search(r"R3 in 60% of plants seen here on \d+ Jul: learnt from", own)
    assert "R5 seen here on 25 May: beyond reason: kept, not learnt from" in own
    assert "before it was seen" in own
    sibling = said("stages", shown[0], *ON_THE_DAY, "--field", "F2", columns=WIDE)
    assert re.search(r"R3 in 60% of plants seen in F1, a field like this one on \d+ Jul", sibling)
    other = said("stages", shown[0], *ON_THE_DAY, "--field", "F3", columns=WIDE)
    assert "seen" not in other.partition("Dates read")[0]
