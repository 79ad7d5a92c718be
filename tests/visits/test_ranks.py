"""Which pests come first: twelve cases of region and date against what state texts say.

The cases are our reading of season, area and fields in texts of state extension services, as each
says; the order is told in the handbook of the project in the words quoted here.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from season_builder import FieldLine, StationFile, build_season

from stagecast.forecast.load import read_folder
from stagecast.forecast.ranges import EventTimes
from stagecast.knowledge import load
from stagecast.knowledge.crop import stage_place
from stagecast.pests.windows import Declared
from stagecast.visits.look_for import looked_at
from stagecast.visits.season_day import FieldDay, SeasonDay

KNOWLEDGE = load()

RED, VELVET = "redbanded-stink-bug", "velvetbean-caterpillar"
HOPPER = "threecornered-alfalfa-hopper"
CASES = [
    # Tennessee: "late-planted, open canopy; moths most attracted at R1-R3"; loopers "late season,
    # late-planted beans" (Univ Tennessee crop news 2020, 2022). Redbanded: southern counties, late.
    ("TN", (35.9, -89.2), "5.2", "6-5", "8-15", "R3", "corn-earworm", "soybean-looper"),
    # Louisiana: redbanded 59-72 percent of stink bugs; velvetbean around Labor Day (LSU AgCenter).
    ("LA", (31.0, -92.0), "6.0", "5-25", "8-25", "R5", RED, VELVET),
    # South Alabama: redbanded south and Black Belt; velvetbean mid August on (ACES 2023).
    ("AL", (31.4, -86.0), "6.5", "6-1", "9-3", "R5", RED, VELVET),
    # Arkansas: native bugs from R5 (mid-South texts), looper mid August on, late-planted.
    ("AR", (35.5, -91.0), "4.8", "6-1", "8-28", "R5", "stink-bugs", "soybean-looper"),
    # Georgia: stink bugs in August and September; earworm in R2-R4 (Univ Georgia, NC State).
    ("GA", (32.0, -83.5), "6.5", "5-27", "8-22", "R4", "stink-bugs", "corn-earworm"),
    # South Carolina: bugs until pods yellow; looper and velvetbean late August-September (Clemson).
    ("SC", (33.8, -80.0), "6.0", "5-20", "9-10", "R6", "stink-bugs", "soybean-looper"),
    # Delaware: podworm R1-R5 from late July, stink bugs R3-R6, then looper (Univ Delaware).
    ("DE", (38.7, -75.5), "4.5", "6-10", "8-12", "R3", "corn-earworm", "stink-bugs"),
    # Minnesota: aphid July to R5, then leaf loss; no list read names podworm (Univ Minnesota).
    ("MN", (44.0, -94.5), "4.5", "5-15", "7-24", "R2", "soybean-aphid", "leaf-feeders"),
    # Nebraska: gall midge from mid June at edges, then Dectes (Nebraska Extension 2020).
    ("NE", (41.2, -96.6), "4.5", "5-10", "7-3", "R2", "soybean-gall-midge", "dectes-stem-borer"),
    # Kansas: podworm August-September in beans planted after 1 June; cloverworm late August (KSU).
    # Dectes adults, second over the whole season, are over by then: late June to July.
    ("KS", (38.9, -95.5), "4.9", "6-20", "8-25", "R3", "corn-earworm", "green-cloverworm"),
    # Illinois: Japanese beetle and green cloverworm the usual catch of a survey (Gray 2011).
    ("IL", (40.1, -88.2), "3.0", "5-22", "7-20", "R3", "japanese-beetle", "green-cloverworm"),
    # Indiana: bean leaf beetle on pods late August-September, then stink bugs (Purdue).
    ("IN", (40.0, -86.5), "3.5", "6-1", "9-2", "R6", "bean-leaf-beetle", "stink-bugs"),
    # Pennsylvania, no-till: slugs and bean leaf beetle in June (Penn State).
    ("PA", (40.3, -76.5), "4.5", "5-15", "6-3", "V1", "slugs", "bean-leaf-beetle"),
    # Kentucky, double-crop: fall armyworm late June-July VE-V4; hopper next in such beans (UK).
    ("KY", (37.0, -88.0), "4.5", "6-14", "7-4", "V2", "fall-armyworm", HOPPER),
]


def plan_of(
    folder: Path,
    region: str,
    place: tuple[float, float],
    group: str,
    planted: str,
    on: str,
    **columns: str,
) -> FieldDay:
    """One field of a state on a day."""
    latitude, longitude = place
    line = FieldLine("F1", _day(planted), group, latitude, longitude)
    station = StationFile("S1", latitude, longitude, first=dt.date(2022, 1, 1))
    made = build_season(folder, fields=(line,), stations=(station,))
    toml = (made / "season.toml").read_text().replace('region = "TN"', f'region = "{region}"')
    (made / "season.toml").write_text(toml)
    header, row = (made / "fields.csv").read_text().splitlines()
    named = ",".join([header, *columns]), ",".join([row, *columns.values()])
    (made / "fields.csv").write_text("\n".join(named))
    (plan,) = SeasonDay(read_folder(made), _day(on)).fields
    return plan


def _day(text: str) -> dt.date:
    month, number = map(int, text.split("-"))
    return dt.date(2026, month, number)


def first_pests(plan: FieldDay) -> list[str]:
    """Pests in the order of looking, were every window open whose host stages hold.

    So that the order rests on the ranks, and not on what invented weather makes of heat models.
    """
    place = stage_place(plan.forecast.stage_on(plan.season.as_of))
    begins, never = (
        EventTimes.of(np.array([time]), plan.forecast.span, np.ones(1)) for time in (0.0, np.inf)
    )
    opened = [
        replace(w, opening=begins, closing=never)
        for w in plan.windows
        if not isinstance(w.why, Declared)
        and stage_place(w.why.host.first) <= place <= stage_place(w.why.host.last)
    ]
    found = looked_at(opened, plan.season.as_of)
    return list(dict.fromkeys(w.pest for w in found if w.pest is not None))


@pytest.mark.parametrize("case", CASES, ids=[f"{case[0]}-{case[4]}-{case[5]}" for case in CASES])
def test_a_specialist_s_first_two_come_first(
    case: tuple[str, tuple[float, float], str, str, str, str, str, str], tmp_path: Path
) -> None:
    """The two pests that the state's texts put first at that stage and date lead the list."""
    region, place, group, planted, on, stage, *first_two = case
    till = {"no_till": "yes"} if region == "PA" else {}
    plan = plan_of(tmp_path / "s", region, place, group, planted, on, **till)
    assert plan.forecast.stage_on(plan.season.as_of) == stage, "the case is about this stage"
    assert first_pests(plan)[:2] == first_two


def test_what_does_not_come_there_or_then_is_not_on_the_list(tmp_path: Path) -> None:
    """No earworm in Minnesota; in west Tennessee at R3 in mid August no redbanded, no marmorated.

    No Minnesota text read names podworm; Tennessee: redbanded in southern-tier counties and very
    late beans; marmorated goes by wooded edges, and nobody says that the field has one.
    """
    north = plan_of(tmp_path / "n", "MN", (44.0, -94.5), "4.5", "5-15", "7-24")
    south = plan_of(tmp_path / "s", "TN", (35.9, -89.2), "5.2", "6-5", "8-15")
    assert "corn-earworm" not in first_pests(north)
    assert not {RED, "brown-marmorated-stink-bug"} & set(first_pests(south))


def test_no_till_and_woods_count_where_the_field_says_so(tmp_path: Path) -> None:
    """Slugs lead a no-till list and not another; marmorated leads where the field has woods."""
    asked = ("PA", (40.3, -76.5), "4.5", "5-12", "6-3")
    assert first_pests(plan_of(tmp_path / "a", *asked, no_till="yes"))[0] == "slugs"
    assert "slugs" not in first_pests(plan_of(tmp_path / "b", *asked))[:2]
    bugs = "brown-marmorated-stink-bug"
    late = ("VA", (38.5, -78.0), "4.5", "5-15", "8-27")
    woods = plan_of(tmp_path / "c", *late, wooded_edge="yes")
    assert woods.forecast.stage_on(woods.season.as_of) in ("R4", "R5", "R6")
    assert bugs in first_pests(woods)[:2]
    assert bugs not in first_pests(plan_of(tmp_path / "d", *late))[:2]


def test_a_pest_without_rows_keeps_the_rank_of_its_file(tmp_path: Path) -> None:
    """A consultant's own pest is not in ranks.toml: nothing hides it."""
    plan = plan_of(tmp_path / "s", "TN", (35.9, -89.2), "5.2", "6-5", "8-15")
    window = next(w for w in plan.windows if w.pest == "corn-earworm")
    assert replace(window, ranks=None).rank_on(plan.season.as_of) == window.rank
    assert replace(window, ranks=(), timing="host stages").rank_on(plan.season.as_of) is None
    assert replace(window, ranks=(), timing="catch").rank_on(plan.season.as_of) == window.rank


def test_every_pest_that_ships_is_ranked_somewhere() -> None:
    """All with windows of their own; a pest left out would lead lists by its file's rank."""
    ranked = {row.pest for row in KNOWLEDGE.ranks}
    assert {p.id for p in KNOWLEDGE.pests.values() if p.activities} == ranked
