"""The grower's page says what the season says, in few and plain words."""

from __future__ import annotations

import datetime as dt
import re
import shutil
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

import pytest
from commands import run_command
from hypothesis import given
from hypothesis import strategies as st
from log_builder import at, log_of, sets_of, treatment, visit
from readability import body_text, grade
from season_builder import Constant, FieldLine, PerYear, StationFile, build_season, day

from stagecast.counts.assessment import Answer
from stagecast.knowledge import load
from stagecast.pages.growers.brief import (
    Brief,
    area_said,
    brief_html,
    brief_of,
    by_grower,
    index_html,
    index_row,
)
from stagecast.pages.pdf import styled_charts
from stagecast.pages.render import file_name
from stagecast.pests.thresholds import ShownThreshold
from stagecast.season.log.entries import (
    LoggedCount,
    LoggedSet,
    LoggedStand,
    LoggedVisit,
    ScoutingLog,
    StandPlace,
)
from stagecast.visits.revisit import PulledForward
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import walk_of
from stagecast.words.morning import last_count
from stagecast.words.plain import (
    ANSWERS,
    STAGES,
    WINDOWS,
    explained,
    plain_day,
    stage_said,
    stage_words,
    threshold_said,
    why_said,
)

KNOWLEDGE = load()
CODE = re.compile(r"\b(?:VE|VC|V\d{1,2}|R[1-8])\b")
DAYS = [day(3, 20), day(4, 28), day(5, 28), day(7, 7), day(8, 25), day(10, 10)]
MOST_WORDS, HARDEST = 300, 9.0
COUNTED = visit(day(7, 6), sets_of("stink-bugs", (19, 21, 18, 20)), field_id="F05", stage="R3")
TREATED = treatment(at(7, 6, 16), 48, field_id="F06", product="an invented product")
LOG = log_of(COUNTED, TREATED)


@dataclass(frozen=True)
class Told:
    """A page as it was worked out and as it is written."""

    brief: Brief
    html: str
    field: FieldDay


def briefs(folder: Path, as_of: dt.date, log: ScoutingLog | None = None) -> dict[str, Told]:
    """The pages of a season by field."""
    season = SeasonDay.open(folder, as_of=as_of, log=log)
    return {told.brief.field_id: told for told in _told(season)}


def _told(season: SeasonDay) -> list[Told]:
    made = [(brief_of(field), field) for field in season.fields]
    return [Told(brief, brief_html(brief), field) for brief, field in made]


def sentences(brief: Brief) -> str:
    """Everything that is said in sentences."""
    heat = brief.heat.sentences if brief.heat else ()
    found = brief.found.sentences
    parts = (brief.where, brief.why, heat, found, brief.next_steps, brief.unknown, brief.cautions)
    return " ".join([brief.closed or "", *(text for part in parts for text in part)])


@pytest.fixture(scope="module")
def season(demo: Path) -> dict[dt.date, dict[str, Told]]:
    """Pages of every field on days from before planting to after harvest."""
    return {as_of: briefs(demo, as_of, LOG) for as_of in DAYS}


@pytest.fixture(scope="module")
def every(season: dict[dt.date, dict[str, Told]]) -> list[Told]:
    """All of them."""
    return [told for day_ in season.values() for told in day_.values()]


# --- how it reads ---------------------------------------------------------------------------


def test_the_pages_looked_at_show_every_state(every: list[Told]) -> None:
    """Proves that the tests below see all kinds of page."""
    stages = {told.brief.stage for told in every}
    assert {"not planted", "planted", "R6", "R8"} <= stages
    assert any(stage.startswith("V") for stage in stages)
    assert {"R1", "R2", "R3", "R4"} & stages
    assert any(told.brief.closed for told in every)
    assert any(told.brief.heat for told in every)
    assert any(told.brief.found.rows for told in every)
    assert any(not told.brief.next_steps[0].startswith("We come") for told in every)


def test_a_page_has_at_most_300_words(every: list[Told]) -> None:
    """Proves that nobody has to read more, whatever the state of the field."""
    for told in every:
        words = body_text(told.html, tables=False).split()
        assert len(words) <= MOST_WORDS, (told.brief.field_id, told.brief.made)


def test_a_page_reads_like_a_newspaper(every: list[Told]) -> None:
    """Proves that the text asks for no more than nine years of school."""
    for told in every:
        assert grade(sentences(told.brief)) <= HARDEST, sentences(told.brief)


def test_the_formula_tells_hard_from_easy() -> None:
    """Proves that the measure of reading can fail a text: one sentence worked out by hand."""
    # 6 words, 1 sentence, 6 syllables.
    assert grade("The beans are up and green.") == pytest.approx(0.39 * 6 + 11.8 - 15.59)
    hard = "Restricted-entry intervals necessitate consultation of supplementary documentation."
    assert grade(hard) > HARDEST


def test_every_stage_code_has_its_meaning_beside_it(every: list[Told]) -> None:
    """Proves that no code stands alone, in text, tables and charts."""
    for told in every:
        text = body_text(told.html, tables=True)
        for found in CODE.finditer(text):
            told_after = text[found.start() : found.end() + 70]
            words = stage_words(found[0])
            before = text[max(0, found.start() - 8) : found.start()]
            of_a_span = re.search(rf"{CODE.pattern}(?: to | and |-)$", before)
            assert words in told_after or of_a_span, told_after


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("holds to R7", "holds to R7 (first ripe pod)"),
        ("at R6-R7 only", "at R6-R7 (full green seeds to first ripe pod) only"),
        ("chewed cotyledons", "chewed seed leaves"),
        ("beans at V3 to V4", "beans at V3 to V4 (3 nodes to 4 nodes)"),
        ("R1 (first flowers) is near", "R1 (first flowers) is near"),
    ],
)
def test_texts_of_the_library_are_explained(text: str, plain: str) -> None:
    """Proves that codes and words of the trade become plain, once."""
    assert explained(text) == plain
    assert explained(plain) == plain


def test_there_are_words_for_all_that_can_come() -> None:
    """Proves that every stage, window of the crop and answer has plain words."""
    assert set(KNOWLEDGE.soybean.stages) - set(STAGES) == {"Vn"}
    assert set(WINDOWS) == {window.id for window in KNOWLEDGE.windows}
    assert set(ANSWERS) == set(get_args(Answer))


# --- what it says ---------------------------------------------------------------------------


def test_a_closed_field_says_so_first(season: dict[dt.date, dict[str, Told]]) -> None:
    """Proves that nothing comes before the warning, and that no other field has one."""
    pages = season[day(7, 7)]
    text = body_text(pages["F06"].html, tables=False).removeprefix("To the text ")
    assert text.startswith(
        "Closed. Do not enter this field until Wednesday, July 8, 4:00 pm. An invented product "
        "was applied on July 6"
    )
    assert [i for i, told in pages.items() if told.brief.closed] == ["F06"]


def test_the_table_behind_the_chart_has_its_dates(season: dict[dt.date, dict[str, Told]]) -> None:
    """Proves that each range of the forecast stands in the table, and the chart covers it."""
    told = season[day(3, 20)]["F05"]
    rows = re.findall(r'<tr><th scope="row">(\w+) \([^)]*\)</th>(.*?)</tr>', told.html)
    cells = {stage: re.findall(r"<td>(.*?)</td>", rest) for stage, rest in rows}
    for row in told.brief.stages.rows:
        dates = (row.dates.p10, row.dates.p50, row.dates.p90)
        assert cells[row.stage] == [f"{d:%b} {d.day}" for d in dates if d is not None]
    rows = re.findall(r'<tr><th scope="row">([\d, ]+)</th>', told.html)
    years = [year for row in rows for year in row.split(", ")]
    assert sorted(years) == [str(year) for year in told.brief.stages.years]
    assert years


def test_past_seasons_are_those_of_their_weather(tmp_path: Path) -> None:
    """Proves that each faint line follows its own year: a warm one comes before the cool ones."""
    warm = PerYear(frozenset({2020}), Constant(26.0), Constant(19.0))
    folder = build_season(tmp_path, stations=[StationFile(weather=warm, last=day(3, 1))])
    (told,) = briefs(folder, day(3, 1)).values()
    years = told.brief.stages.years
    for row in told.brief.stages.rows:
        by_year = dict(zip(years, row.past, strict=True))
        warmest = by_year.pop(2020)
        cool = set(by_year.values())
        assert len(cool) == 1, row.stage
        (date,) = cool
        if date is not None:
            assert warmest is not None
            assert warmest < date


def test_heat_is_told_in_the_units_of_the_season(tmp_path: Path) -> None:
    """Proves that the same heat is 1.8 times as many degree-days F as C, on chart and in words."""
    said = {}
    for units in ("us", "metric"):
        folder = build_season(tmp_path / units, units=units)
        (told,) = briefs(folder, day(7, 10)).values()
        assert told.brief.heat is not None
        said[units] = told
    us, metric = said["us"].brief.heat, said["metric"].brief.heat
    assert us is not None
    assert metric is not None
    assert us.chart.needs[0].heat == pytest.approx(1.8 * metric.chart.needs[0].heat)
    for f, c in zip(us.chart.weeks, metric.chart.weeks, strict=True):
        assert (f.this_season is None) == (c.this_season is None)
        if f.this_season is not None and c.this_season is not None:
            assert f.this_season == pytest.approx(1.8 * c.this_season)
    assert "40 acres" in said["us"].html
    assert "16 hectares" in said["metric"].html
    assert "acres" not in said["metric"].html


def test_heat_of_constant_days_is_what_one_adds_up(tmp_path: Path) -> None:
    """Proves by hand: equal days give equal steps, and this year keeps the usual pace."""
    station = StationFile(weather=Constant(22.0, 3.0))
    folder = build_season(tmp_path, units="metric", stations=[station])
    (told,) = briefs(folder, day(8, 1)).values()
    heat = told.brief.heat
    assert heat is not None
    pest = next(p for p in KNOWLEDGE.pests.values() if p.name == heat.pest)
    assert pest.heat is not None
    for week in heat.chart.weeks:
        days = (week.through - heat.chart.first).days + 1
        if week.this_season is not None and week.past is not None:
            a_day = 22.0 - pest.heat.lower_c  # it is counted from within the first day
            assert week.this_season == pytest.approx(days * a_day, rel=0.02, abs=a_day)
            assert week.past.p50 == pytest.approx(week.this_season, rel=0.02)
    assert "This year keeps the usual pace." in heat.sentences


def test_counts_stand_beside_their_threshold(season: dict[dt.date, dict[str, Told]]) -> None:
    """Proves that a field far above says so, with its mean (78 in 4 sets) and the threshold."""
    (row,) = season[day(7, 7)]["F05"].brief.found.rows
    assert row.pest == "stink bugs"
    assert row.found.startswith("19.5 per 25 sweeps (likely ")
    assert row.line.startswith("stink bugs 19.5 of 9 per 25 sweeps (")
    assert row.line.endswith("%, above")
    assert row.threshold == "9 bugs per 25 sweeps (Tennessee)"
    assert row.above
    assert row.share == pytest.approx(19.5 / 9)
    page = season[day(7, 7)]["F05"].html
    assert "<strong>Above the threshold: we are deciding. Chance of being over it: " in page


def test_the_page_begins_with_its_news(every: list[Told]) -> None:
    """Proves that stage, finding and the next visit stand before all charts, on every page."""
    for told in every:
        start = told.html.partition("<main")[2].partition("<figure")[0]
        assert start.count("<li>") == 3
        assert stage_words(told.brief.stage).split()[-1] in told.brief.news[0]
    news = {told.brief.field_id: told.brief.news for told in every if told.brief.made == day(7, 7)}
    above = (
        "On July 6 we found stink bugs at 19.5 per 25 sweeps (threshold 9); we are deciding. We "
        "will talk it over with you."
    )
    assert news["F05"][1] == above
    assert news["F05"][2] == "We come back on Friday, July 10."


def test_the_third_line_of_news_has_the_day_of_the_visit(every: list[Told]) -> None:
    """Where a visit comes after its due day, the day stands first, then why.

    Late by the rule it is never called sooner than usual as well; a day off does not make it late.
    """
    late = 0
    for told in every:
        walk, steps = walk_of(told.brief.field), told.brief.next_steps
        if walk.day is None or walk.due is None or walk.day <= walk.due or not told.brief.up:
            continue
        late += 1
        assert "We come" in told.brief.news[2], told.brief.news
        assert " due " in steps[1], steps
        assert walk.why == "no work" or "sooner than usual" not in " ".join(steps)
    assert late


def test_no_page_says_to_spray(every: list[Told]) -> None:
    """Proves that the only word of spraying is that a threshold alone is no reason."""
    for told in every:
        said = sentences(told.brief).replace("never just to spray", "")
        assert not re.search(r"spray|think about treating", said)


def test_counts_from_before_a_treatment_call_for_nothing(demo: Path) -> None:
    """Proves that once treated, even on the same day, the old count is told as an old count."""
    for hour in (at(7, 6, 16), at(7, 7, 6)):
        treated = treatment(hour, 4, field_id="F05", product="an invented product")
        told = briefs(demo, day(7, 8), log_of(COUNTED, treated))["F05"]
        (row,) = told.brief.found.rows
        same = hour.date() == COUNTED.date
        told_when = (
            "the day of the treatment" if same else f"before the treatment of July {hour.day}"
        )
        assert row.means == f"Counted {told_when} (an invented product)"
        assert not told.brief.found.above
        assert "then treated" in told.brief.found.short
        assert "we are deciding" not in told.html
        assert told_when in told.brief.news[1]
    earlier = treatment(at(7, 5, 6), 4, field_id="F05", product="an invented product")
    told = briefs(demo, day(7, 8), log_of(COUNTED, earlier))["F05"]
    assert told.brief.found.above


@pytest.mark.parametrize(
    ("counts", "news", "waits"),
    [
        ((0, 0, 0, 0), "we found no stink bugs.", False),
        ((3, 2, 4, 3), "we found stink bugs at 3 per 25 sweeps (threshold 9).", False),
        ((6, 7, 5, 6), "we found stink bugs at 6 per 25 sweeps (threshold 9). We are", False),
        ((5, 20, 3, 8), "we found stink bugs at 9 per 25 sweeps (threshold 9); we are", True),
        ((19, 21, 18, 20), "we found stink bugs at 19.5 per 25 sweeps (threshold 9); we", True),
        ((1, 0), "we had a short look and found stink bugs at 0.5 per 25 sweeps", False),
        ((18, 18), "we found stink bugs at 18 per 25 sweeps (threshold 9); we are", True),
    ],
)
def test_the_news_is_how_much_of_the_threshold(
    demo: Path, counts: tuple[int, ...], news: str, waits: bool
) -> None:
    """Proves that a mean at the threshold or over it is the news, however sure, and waits.

    No page says how many samples were missing.
    """
    seen = visit(day(7, 6), sets_of("stink-bugs", counts), field_id="F05", stage="R3")
    told = briefs(demo, day(7, 7), log_of(seen))["F05"]
    assert told.brief.news[1].startswith(f"On July 6 {news}")
    assert told.brief.found.above == waits
    assert not re.search(r"\bsamples?\b|more sets", told.html)


def test_less_of_all_else_is_said_only_where_it_is_so(demo: Path) -> None:
    """Proves that 150 thrips without a threshold are named, and zeros are not."""
    beside = {0.0: ", and less of all else.", 150.0: "; also thrips, with no threshold now."}
    for thrips, said in beside.items():
        counts = (LoggedCount("stink-bugs", "", 3.0), LoggedCount("thrips", "", thrips))
        taken = tuple(LoggedSet(i, 25.0, "sweeps", counts) for i in range(1, 5))
        seen = LoggedVisit("v", "F05", day(7, 6), stage="R3", sets=taken)
        told = briefs(demo, day(7, 7), log_of(seen))["F05"]
        assert told.brief.news[1].endswith(f"stink bugs at 3 per 25 sweeps (threshold 9){said}")


def test_what_is_above_its_threshold_leads(demo: Path) -> None:
    """Proves that such a pest is first on the list, and that nobody says it may pass it yet."""
    counts = (LoggedCount("stink-bugs", "", 1.0), LoggedCount("corn-earworm", "", 30.0))
    taken = tuple(LoggedSet(i, 25.0, "sweeps", counts) for i in range(1, 5))
    seen = LoggedVisit("v", "F05", day(7, 6), stage="R3", sets=taken)
    brief = briefs(demo, day(7, 7), log_of(seen))["F05"].brief
    assert brief.found.above
    assert "First on our list: corn earworm (" in brief.why[-1]
    assert "may pass" not in " ".join(brief.next_steps)


def test_a_stage_that_was_seen_is_no_forecast(demo: Path) -> None:
    """Proves that the page begins with the stage that the scout saw, and its day."""
    seen = visit(day(7, 6), sets_of("stink-bugs", (1, 2)), field_id="F05", stage="R4")
    told = briefs(demo, day(7, 7), log_of(seen))["F05"]
    assert told.brief.news[0] == (
        "On July 6 we saw the beans at R4 (pods grow long); by our forecast they are still there."
    )


def test_a_stage_seen_today_is_told_as_seen(demo: Path) -> None:
    """Proves that on the day itself the scout's eyes go before any forecast, in the same words."""
    for stage in ("R3", "R4"):
        seen = visit(day(7, 7), sets_of("stink-bugs", (1, 2)), field_id="F05", stage=stage)
        told = briefs(demo, day(7, 7), log_of(seen))["F05"]
        assert told.brief.news[0] == f"Today we saw the beans at {stage_said(stage)}."
        assert "By our forecast the beans" not in told.html


def test_sooner_than_usual_is_said_only_of_a_day_before_the_usual(every: list[Told]) -> None:
    """Proves it against the plan, and that the day on which the risk starts is named."""
    said = 0
    for told in every:
        sooner = [text for text in told.brief.next_steps if "sooner than usual" in text]
        field = told.field
        pulls = [one for one in field.visit.reasons if isinstance(one, PulledForward)]
        for text in sooner:
            said += 1
            walked = walk_of(field).day
            assert walked is not None
            assert walked < field.season.workday(pulls[0].due_before)
            opens = pulls[0].window.opens.p50
            assert opens is not None
            assert text.endswith(f"starts about {plain_day(opens)}.")
    assert said


def test_few_sets_go_before_leaf_loss_that_is_below(demo: Path) -> None:
    """Proves that what is not decided leads, though leaf loss has the larger share."""
    seen = visit(day(7, 6), sets_of("stink-bugs", (3,)), field_id="F05", stage="R3")
    seen = replace(seen, defoliation_percent=9.0)
    told = briefs(demo, day(7, 7), log_of(seen))["F05"]
    assert [row.answer for row in told.brief.found.rows] == ["too few", "below"]
    assert told.brief.found.short.startswith("stink bugs 3 of 9")
    assert "stink bugs at 3 per 25 sweeps (threshold 9)" in told.brief.news[1]
    assert last_count(told.field).startswith("stink bugs 3 of 9, too few")


def test_acres_keep_their_decimal() -> None:
    """Proves it at the values that a reader stumbled over."""
    assert (area_said(46.5), area_said(46.0), area_said(46.4512)) == ("46.5", "46", "46")


def test_a_page_begins_with_the_stand_where_only_that_was_counted(demo: Path) -> None:
    """Proves that a stand count is not told as a visit without counts."""
    places = tuple(map(StandPlace, (14, 12, 15, 11, 13)))
    seen = replace(visit(day(7, 6), field_id="F16"), stand=LoggedStand(places, hoop_in=30.0))
    found = briefs(demo, day(7, 7), log_of(seen))["F16"].brief.found
    assert found.headline == (
        "On July 6 we counted the stand: about 115,400 plants an acre; we would keep it."
    )
    assert found.short == "stand counted"


def test_a_stand_count_is_one_sentence_and_its_numbers(demo: Path) -> None:
    """Proves that a grower reads what his stand keeps, until the beans bloom."""
    places = tuple(map(StandPlace, (14, 12, 15, 11, 13)))
    seen = replace(
        visit(day(6, 26), field_id="F16"), stand=LoggedStand(places, hoop_in=30.0)
    )  # fmt: skip
    told = briefs(demo, day(7, 7), log_of(seen))["F16"]
    news, numbers, mind = told.brief.stand
    assert "keeps about 100 percent" in news
    assert "115,400 plants an acre (8 chances in 10: 105,700 to 125,000)" in numbers
    assert "local guide" in mind
    assert all(sentence in told.html for sentence in told.brief.stand)
    assert briefs(demo, day(8, 20), log_of(seen))["F16"].brief.stand == ()


def test_the_day_promised_is_a_day_of_work(every: list[Told]) -> None:
    """Proves that no visit is promised for a weekend, nor after the due day if it can be before."""
    named = [text for told in every for text in (told.brief.news[2], told.brief.next_short)]
    assert any("on Friday" in text for text in named)
    assert not [text for text in named if re.search(r"(by|on) (Sat|Sun)", text)]


def test_flowers_are_not_called_pods() -> None:
    """Proves that before R3 nobody is told that the beans cannot make up for what is eaten."""
    for stage in ("R1", "R2"):
        assert "seldom missed" in str(why_said("bloom-to-full-seed", stage))
    for stage in ("R3", "R5"):
        assert "hardly replace" in str(why_said("bloom-to-full-seed", stage))


def test_old_readings_say_nothing_of_early_or_late(tmp_path: Path) -> None:
    """Proves that a week after the last reading the page says since when, and no pace."""
    told = {}
    for last in (day(7, 8), day(6, 20)):
        folder = build_season(tmp_path / f"{last}", stations=[StationFile(last=last)])
        (page,) = briefs(folder, day(7, 10)).values()
        assert page.brief.heat is not None
        told[last] = " ".join(page.brief.heat.sentences)
    assert "This year" in told[day(7, 8)]
    assert "This year" not in told[day(6, 20)]
    assert "There are no readings since June 20." in told[day(6, 20)]


def test_past_seasons_with_equal_dates_stand_once(every: list[Told]) -> None:
    """Proves that no two rows behind the ribbon tell the same dates."""
    seen = set()
    for told in every:
        groups = [
            tuple(row.past[place] for row in told.brief.stages.rows)
            for _, place in told.brief.stages.groups
        ]
        assert len(set(groups)) == len(groups)
        seen.add(len(groups))
    assert max(seen) > 1


def test_every_pest_can_be_opened(every: list[Told]) -> None:
    """Proves that no page says 'and 9 more' without them: all stand in a part that opens."""
    told = next(told for told in every if len(told.brief.also) > 4)
    opened = told.html.partition('<details class="also">')[2].partition("</details>")[0]
    assert opened.count('<th scope="row">') == len(told.brief.also)
    assert f"Also possible: {len(told.brief.also)} more" in opened


@pytest.mark.parametrize("value", [1.5, 1.0])
def test_converted_thresholds_have_no_false_decimals(value: float) -> None:
    """Proves that from ten on a converted threshold is whole, and one that is published stays."""
    pest = KNOWLEDGE.pests["stink-bugs"]
    published = next(t for t in pest.thresholds if t.unit == "sweeps" and t.region == "TN")
    per = published.model_copy(update={"value": value, "per": 1.0, "high": None})
    shown = ShownThreshold("here", "Tennessee", per, 25)
    assert threshold_said(shown).startswith(f"about {25 * value:.0f} ")
    same = published.model_copy(update={"value": 37.5, "per": 25.0, "high": None})
    assert threshold_said(replace(shown, threshold=same)).startswith("37.5 ")


def test_two_sizes_are_told_apart(demo: Path, tmp_path: Path) -> None:
    """Proves that where the threshold counts other sizes than one looks for, both are named.

    Georgia counts earworms from 1/2 inch on: its field guide of 2014.
    """
    folder = shutil.copytree(demo, tmp_path / "georgia")
    settings = (folder / "season.toml").read_text("utf-8")
    (folder / "season.toml").write_text(settings.replace('region = "TN"', 'region = "GA"'), "utf-8")
    found = 0
    for told in briefs(folder, day(8, 10)).values():
        for one in told.brief.look_for:
            sizes = set(re.findall(r"\d/\d inch", f"{one.signs} {one.threshold}"))
            if len(sizes) == 2:
                assert "this threshold counts only those from" in one.threshold
                found += 1
    assert found


def test_counts_of_later_days_are_not_known_yet(season: dict[dt.date, dict[str, Told]]) -> None:
    """Proves that a page made for a day tells nothing that was seen after it."""
    earlier = season[day(5, 28)]["F05"].brief
    assert not earlier.found.rows
    assert "July" not in " ".join(earlier.found.sentences)


def test_after_maturity_nobody_comes(season: dict[dt.date, dict[str, Told]]) -> None:
    """Proves that a ripe field has no visit and nothing to look for."""
    ripe = [t.brief for t in season[day(10, 10)].values() if t.brief.stage in ("R7", "R8")]
    assert ripe
    for brief in ripe:
        assert "no more visits" in brief.next_steps[0]
        assert ("we are finished here" in brief.next_steps[0]) == (brief.stage == "R8")
        assert not brief.look_for
        assert not brief.why


def test_the_limits_and_whom_to_ask_are_on_every_page(every: list[Told]) -> None:
    """Proves that no page leaves out what we do not know and that the label is the law."""
    for told in every:
        text = body_text(told.html, tables=False)
        assert "Drought, hail, disease and replanting" in text
        assert "The product label is the law." in text
        assert text.endswith("Ask us, your county extension office, or a licensed adviser.")


# --- files ----------------------------------------------------------------------------------

IDS = st.text(min_size=1, max_size=60) | st.sampled_from(["..", "a/b", "A\\B", "CON", "con", "."])


@given(st.lists(IDS, min_size=2, max_size=6, unique=True))
def test_names_of_files_are_safe_and_never_meet(ids: list[str]) -> None:
    """Proves that ids of any characters give plain names, apart on every file system."""
    names = [file_name(field_id, "html") for field_id in ids]
    assert len({name.casefold() for name in names}) == len(ids)
    for name in names:
        assert re.fullmatch(r"field-[A-Za-z0-9_-]+\.html", name)
        assert len(name) < 100


def test_a_plain_id_is_the_name(demo: Path) -> None:
    """Proves that a person finds the file of F05, and that one in small letters is another."""
    assert file_name("F05", "html") == "field-F05.html"
    assert file_name("f05", "html").casefold() != "field-f05.html"


def test_all_fields_are_written_with_an_index(demo: Path, tmp_path: Path) -> None:
    """Proves that every link of the index leads to a page, and twice gives the same bytes."""
    folder = tmp_path / "pages"
    ask = ("brief", demo, "--all", "-o", folder, "--as-of", "2026-07-07")
    assert run_command(*ask).code == 0
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    links = re.findall(r'<a href="([^"#]+)"', first["index.html"].decode())
    assert {*links, "index.html"} == set(first)
    assert len(links) == 11
    assert run_command(*ask).code == 0
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first


def test_the_index_tells_findings_and_visits_by_grower(demo: Path) -> None:
    """Proves that the one field above its threshold is named first, and growers stand together."""
    made = {told.brief.field_id: told.brief for told in briefs(demo, day(7, 7), LOG).values()}
    season = SeasonDay.open(demo, as_of=day(7, 7), log=LOG)
    page = index_html(season, list(made.values()), {one: f"{one}.html" for one in made})
    text = body_text(page, tables=True)
    first = text.partition("Decide first ")[2].partition(" Count of threshold")[0]
    assert first == (
        "F05 Two Silos , Grower B: stink bugs 19.5 of 9 per 25 sweeps (15.1-26.8), over 95%, "
        "above (Jul 6)"
    )
    assert text.index("Decide first") < text.index("Grower A")
    rows = [index_row(one, "x.html") for one in made.values()]
    groups = by_grower([*rows, replace(rows[0], grower="")])
    assert [group.name for group in groups] == [*sorted({row.grower for row in rows}), ""]
    assert sum(len(group.rows) for group in groups) == len(rows) + 1
    for brief in made.values():
        assert brief.next_short in text
        assert brief.found.short in text


def test_one_field_is_written_and_nothing_of_others_is_lost(demo: Path, tmp_path: Path) -> None:
    """Proves that an id in any case will do, and that a file of somebody else stays."""
    page, other = tmp_path / "page.html", tmp_path / "other.html"
    ran = run_command("brief", demo, "f05", "-o", page, "--as-of", "2026-07-07")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out == f"field F05 as of Tue 7 Jul 2026: {page}\n"
    assert "Two Silos" in page.read_text("utf-8")
    other.write_text("<p>mine</p>", encoding="utf-8")
    ran = run_command("brief", demo, "F05", "-o", other, "--as-of", "2026-07-07")
    assert (ran.code, str(other) in ran.err) == (2, True)
    assert other.read_text("utf-8") == "<p>mine</p>"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("F99",), "'F99'"),
        ((), "which field is not said"),
        (("F05", "--all"), "a field and --all do not go together"),
        (("F05", "--as-of", "soon"), "--as-of"),
    ],
)
def test_what_cannot_be_written_is_said(
    arguments: tuple[str, ...], said: str, demo: Path, tmp_path: Path
) -> None:
    """Proves that a question without an answer is one sentence, and leaves no file."""
    ran = run_command("brief", demo, *arguments, "-o", tmp_path / "page.html")
    assert ran.code == 2
    assert said in ran.err
    assert ran.err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_a_refused_field_is_an_error_and_stops_no_other(tmp_path: Path) -> None:
    """Proves that its own page is refused in a sentence, and the index names it without a page."""
    fields = [FieldLine(), FieldLine("F2", station="S9")]
    folder = build_season(tmp_path / "season", fields=fields)
    out = tmp_path / "pages"
    one = run_command("brief", folder, "F2", "-o", out, "--as-of", "2026-07-07")
    assert one.code == 2
    assert "there is no such station" in one.err
    assert not out.exists()
    ran = run_command("brief", folder, "--all", "-o", out, "--as-of", "2026-07-07")
    assert (ran.code, ran.err) == (2, one.err)
    assert {path.name for path in out.iterdir()} == {"field-F1.html", "index.html"}
    assert "there is no such station" in (out / "index.html").read_text("utf-8")


def test_charts_carry_their_rules_where_no_page_does(every: list[Told]) -> None:
    """Proves that for PDF each chart holds its own rules, in colors and not in names of them."""
    told = next(told for told in every if told.brief.heat)
    styled = styled_charts(told.html)
    charts = re.findall(r"<svg.*?</svg>", styled, re.DOTALL)
    assert len(charts) == 2
    for chart in charts:
        rules = chart.partition("<style>")[2].partition("</style>")[0]
        assert ".chart .R3" in rules
        assert "#1b5e83" in rules
        assert "var(" not in rules


def test_nothing_is_fetched_or_run(every: list[Told]) -> None:
    """Proves that a page names no address, and has no script and no handler."""
    for told in every:
        page = told.html.replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?:|<script|<link|<img|@import|url\(|\son[a-z]+=", page)


def test_what_people_typed_is_shown_as_text(every: list[Told]) -> None:
    """Proves that names are escaped, and that what hides or turns text is made visible."""
    hostile = "<script>x()</script>\"'&\u202e\u0007"
    page = brief_html(replace(every[0].brief, name=hostile, grower=hostile))
    assert "<script" not in page
    assert "\u202e" not in page
    assert "\u0007" not in page
    assert "&lt;script&gt;x()&lt;/script&gt;" in page


def test_pages_of_all_fields_are_written_all_or_none(demo: Path, tmp_path: Path) -> None:
    """A person's own page in the folder is told, every one of them, before anything is made."""
    folder = tmp_path / "pages"
    folder.mkdir()
    mine = [folder / "index.html", folder / "field-F05.html"]
    for path in mine:
        path.write_text("<!doctype html><p>my own", "utf-8")
    told = run_command("brief", demo, "--all", "-o", folder, "--as-of", "2026-07-07")
    assert told.code == 2
    assert all(str(path) in told.err for path in mine)
    assert sorted(folder.iterdir()) == sorted(mine)


def test_a_page_is_written_over_by_one_of_its_kind_only(demo: Path, tmp_path: Path) -> None:
    """A brief takes the place of a brief, never of an overview, nor of a page that quotes one."""
    page, other = tmp_path / "a.html", tmp_path / "b.html"
    day = ("--as-of", "2026-07-07")
    assert run_command("overview", demo, "-o", page, *day).code == 0
    assert run_command("brief", demo, "F01", "-o", page, *day).code == 2
    assert run_command("brief", demo, "F01", "-o", other, *day).code == 0
    assert run_command("brief", demo, "F02", "-o", other, *day).code == 0
    quoted = other.read_text("utf-8").splitlines()
    mark = next(line for line in quoted if "generator" in line)
    page.write_text("<h1>my notes</h1>" + mark, "utf-8")
    assert run_command("brief", demo, "F01", "-o", page, *day).code == 2
    assert page.read_text("utf-8").startswith("<h1>my notes")


def test_counts_without_a_threshold_are_no_good_news(demo: Path) -> None:
    """Where nothing counted has a threshold that holds, the page does not say nothing is above."""
    taken = tuple(
        LoggedSet(i, 25.0, "sweeps", (LoggedCount("thrips", "", 150.0),)) for i in range(1, 5)
    )
    seen = LoggedVisit("v-thrips", "F05", day(7, 7), stage="R4", sets=taken)
    told = briefs(demo, day(7, 8), log_of(seen))["F05"]
    assert not any("nothing we counted was above" in line for line in told.brief.news)
    assert any("know no threshold" in line for line in told.brief.news)


def test_what_was_found_too_early_is_named_with_the_visit_after_it(demo: Path) -> None:
    """What the sets held is said though it hurts nothing yet, and when we were there since."""
    taken = tuple(
        LoggedSet(i, 25.0, "sweeps", (LoggedCount("stink-bugs", "", 3.0),)) for i in range(1, 5)
    )
    early = LoggedVisit("v-early", "F16", day(6, 30), stage="V4", sets=taken)
    again = LoggedVisit("v-again", "F16", day(7, 6), stage="V6")
    told = briefs(demo, day(7, 7), log_of(early, again))["F16"]
    (news,) = (line for line in told.brief.news if "then too early to harm the beans" in line)
    assert news.startswith("On June 30 we found stink bugs, ")
    assert "We were there again on July 6, without counting pests." in news
    once = briefs(demo, day(7, 7), log_of(early))["F16"]
    assert not any("there again" in line for line in once.brief.news)


def test_a_field_closed_today_was_not_closed_on_its_due_day(demo: Path, tmp_path: Path) -> None:
    """Of a visit that was due before today it is said that nobody may enter today."""
    folder = tmp_path / "season"
    shutil.copytree(demo, folder)
    header = "field_id,first_date,last_date,from_time,to_time,why"
    (folder / "blocked.csv").write_text(f"{header}\nF16,2026-07-07,2026-07-07,,,mud\n", "utf-8")
    told = sentences(briefs(folder, day(7, 7))["F16"].brief)
    assert ", and nobody may enter today." in told
    assert "may enter then" not in told
