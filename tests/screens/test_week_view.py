"""The week on a screen: it fits a phone, leaves nothing out, and plays no tricks."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from log_builder import at, log_of, sets_of, treatment, visit
from rich.cells import cell_len
from rich.console import Console
from week_builder import (
    HOSTILE,
    MONDAY,
    ONE_DAY,
    build_week,
    density,
    field_ids,
    full_week,
    other_term,
    pest_term,
    plan_week,
    renamed,
    season_of,
    seen_on,
    waits_with,
    with_visit,
)

from stagecast.knowledge import load
from stagecast.screens.screen import ShownList
from stagecast.screens.week import show_week
from stagecast.visits.look_for import AlsoPossible, PestSign
from stagecast.visits.pressure import CountedPressure
from stagecast.visits.reentry import EfficacyCheck
from stagecast.visits.season_day import SeasonDay
from stagecast.week.problem import WeekRequest
from stagecast.week.waiting import StandRisk, WaitingCost, WaitingTerm
from stagecast.week.week import WeekRoute, above_of
from stagecast.words.waiting import formula_words, found_text, last_found
from stagecast.words.week import ids_text, looks_text

WIDTHS = (40, 80, 120)
FORMULA = " ".join(formula_words(load()))


def shown(week: WeekRoute, width: int, *, explain: bool = False) -> str:
    """What stands on a screen of some width, without colour; no line is wider."""
    out = io.StringIO()
    console = Console(file=out, width=width, highlight=False, emoji=False, markup=False)
    everything = ShownList(notes=True)
    show_week(console, week, explain=explain, looks=True, shown=everything)
    text = out.getvalue()
    assert max(map(cell_len, text.splitlines())) <= width
    return text


def words(text: str) -> str:
    """The text without its line breaks and columns."""
    return " ".join(text.split())


def columns_read(text: str) -> str:
    """The last column of the days' tables, whose lines go on below each other."""
    lines = text.splitlines()
    (head,) = {line for line in lines if "how, and what to look for first" in line}
    at = head.index("how, and")
    return " ".join(line[at:] for line in lines)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("explain", [False, True])
def test_every_stop_is_on_the_screen(width: int, explain: bool, demo: Path) -> None:
    """At any width each stop has its times, id and method, and no column is cut."""
    week = full_week(season_of(demo))
    text = shown(week, width, explain=explain)
    for day in week.days:
        for stop in day.stops:
            hours = f"{stop.arrive:%H:%M}-{stop.leave:%H:%M}".removeprefix("0").replace("-0", "-")
            (line,) = (one for one in text.splitlines() if hours in one and stop.field_id in one)
            assert line.startswith(hours)
    assert "…" not in text


@pytest.mark.parametrize("width", WIDTHS)
def test_what_is_left_out_or_moved_says_why(width: int, demo: Path) -> None:
    """Both are told with their reasons, and what is left out with its dollars."""
    week = full_week(season_of(demo))
    text = words(shown(week, width))
    for left in week.left_out:
        assert f"${left.waiting.left_out:.0f} {left.field_id}" in text
    assert "What moved, against the same week without what you said 6 Jul is off:" in text
    assert ": Mon 6 Jul, Ann -> Tue 7 Jul, Ann no hours left up to 7 Jul: " in text
    assert "Tue 7 Jul, Bo -> left out" in text


@pytest.mark.parametrize("width", WIDTHS)
def test_estimates_heat_and_judgement_are_said(width: int, demo: Path) -> None:
    """No distance that was estimated, no hot day and no judgement goes without its word."""
    text = words(shown(full_week(season_of(demo)), width))
    assert "by plain insertion" in text
    assert "All drives are estimates: straight line x 1.3 at 45 mph." in text
    assert text.count("hot: high near 95 F, 63% chance of 91 F or more") == 4
    assert text.count("start early") == 1
    assert "US Occupational Safety and Health Administration" in text
    assert "heat index of 91 F" in text
    assert "It rests on judgement" in text
    assert "consider, never spray" in text


@pytest.mark.parametrize(
    ("estimated", "said"), [(0, None), (1, "1 of 9 drives is an"), (4, "4 of 9 drives are")]
)
def test_estimates_are_said_only_as_far_as_true(
    estimated: int, said: str | None, demo: Path
) -> None:
    """Drives that a person measured are not called estimates; without estimates nothing is said."""
    season = season_of(demo)
    week = build_week(season, {(MONDAY, ""): field_ids(season)[:1]}, estimated=estimated)
    text = words(shown(week, 80))
    assert ("straight line" in text) == (said is not None)
    assert ("the others are yours (travel.csv)" in text) == (said is not None)
    assert said is None or said in text


@pytest.mark.parametrize("width", WIDTHS)
def test_a_field_above_its_threshold_comes_first(width: int, demo: Path) -> None:
    """Before any day: which field, what was counted, how to judge it, and what it does not say."""
    first, second = field_ids(season_of(demo))[:2]
    counted = visit(MONDAY, sets_of("stink-bugs", (19, 21, 18, 20)), field_id=second, stage="R3")
    season = SeasonDay.open(demo, as_of=MONDAY, log=log_of(counted))
    week = build_week(season, {(MONDAY, ""): [first, second]})
    assert "Decide first" not in shown(week, width)
    week = replace(week, above=above_of(season))
    top, said, _ = words(shown(week, width)).partition("2 of 2 due fields on the route")
    assert said
    assert f"Decide first {second}" in top
    assert "19.5 of 9 per 25 sweeps (15.1-26.8), over 95%, above (6 Jul)" in top
    assert "Nothing applied since in the log" in top
    assert "FIELD --as-of" in top
    assert "consider, never spray" in words(shown(week, width))


@pytest.mark.parametrize("width", WIDTHS)
def test_a_stop_says_whose_it_is_and_why_now(width: int, demo: Path) -> None:
    """Grower, acres, due day with its delay, last visit, and what waiting costs."""
    a, b, c = field_ids(season_of(demo))[:3]
    day = MONDAY + 2 * ONE_DAY
    season = with_visit(season_of(demo), a, due=MONDAY, last_visit=None, not_before=None)
    season = with_visit(season, b, due=day, last_visit=MONDAY, not_before=None)
    sprayed = treatment(at(7, 1, 9), 12, product="brand")
    check = EfficacyCheck(sprayed, (3, 7), MONDAY - 2 * ONE_DAY, day, None)
    season = with_visit(season, c, due=day - ONE_DAY, not_before=MONDAY, reasons=(check,))
    week = build_week(season, {(day, ""): [a, b, c]})
    text = shown(week, width)
    for stop in week.stops:
        field = stop.plan.forecast.field
        assert f"{field.grower}, {field.area_acres:g} acres" in text
    text = words(text if width == 40 else columns_read(text))
    assert re.search(r"due 6 Jul, 2 days late; [^;]*; waiting cost \$", text)
    assert "due 8 Jul; last visit 6 Jul; waiting cost $" in text
    assert "due 7 Jul, 1 day later than asked; " in text
    assert "efficacy check 3 to 7 days after brand on 1 Jul: 4 Jul to 8 Jul" in text


def test_what_was_found_comes_first_and_the_list_is_short(demo: Path) -> None:
    """Most at stake first, with what was found; then the most pressing of the day; then a count."""
    season = season_of(demo)
    ids = field_ids(season)
    pests = season.knowledge.pests
    looks = (
        PestSign(pests["corn-earworm"], "worms", ()),
        PestSign(pests["stink-bugs"], "bugs", ()),
        AlsoPossible((pests["kudzu-bug"], pests["soybean-looper"])),
    )
    season = with_visit(season, ids[0], look_for=looks)
    week = build_week(season, {(MONDAY, ""): ids[:1]})
    noted = seen_on(MONDAY - 7 * ONE_DAY, "some", 0.25)
    terms = (
        pest_term("stink-bugs", 9.0, seen=[noted]),
        other_term(5.0),
        pest_term("kudzu-bug", 1.0),
        pest_term("soybean-looper", 0.5),
        pest_term("thrips", 0.5),
    )
    week = waits_with(week, ids[0], WaitingCost(ids[0], MONDAY, (16.0,), terms))
    text = words(shown(week, 200))
    named = "stink bugs ('some' on 29 Jun), kudzu bug, soybean looper, corn earworm"
    assert named in text
    assert f"{named}, and" not in text
    text = words(shown(week, 40))
    assert "stink bugs ('some' on 29 Jun), kudzu bug, corn earworm, and 1 more" in text


@pytest.mark.parametrize("width", WIDTHS)
def test_lunch_is_a_row_between_stops(width: int, demo: Path) -> None:
    """It stands at its time: after the stops that begin before it, before those that come later."""
    season = season_of(demo)
    week = build_week(season, {(MONDAY, ""): field_ids(season)[:8]})
    lines = shown(week, width).splitlines()
    rows = [line for line in lines if re.match(r"\d+:\d\d-\d+:\d\d ", line)]
    times = [tuple(map(int, row.partition("-")[0].split(":"))) for row in rows]
    assert len(rows) == 9
    assert times == sorted(times)
    (lunch,) = [number for number, row in enumerate(rows) if row.split()[1] == "lunch"]
    assert times[lunch] == (12, 0)
    assert 0 < lunch < 8


def test_a_free_day_says_who_waits_for_which_day(demo: Path) -> None:
    """Fields that are due and walked later are named, four at most; else the day says less."""
    season = season_of(demo)
    ids = field_ids(season)[:6]
    tuesday, friday = MONDAY + ONE_DAY, MONDAY + 4 * ONE_DAY
    for field_id in ids[:5]:
        season = with_visit(season, field_id, due=tuesday)
    season = with_visit(season, ids[5], due=friday)
    walks = {(tuesday, ""): [], (friday, ""): ids}
    text = words(shown(build_week(season, walks), 80))
    named = ", ".join(ids[:4])
    assert f"nothing worth the drive: {named} wait for Fri 10 Jul, 1 more for later" in text
    later = build_week(season, {(MONDAY, ""): [], (friday, ""): ids})
    assert "nothing is due" in words(shown(later, 80))


def test_fields_that_lose_nothing_are_one_line(demo: Path) -> None:
    """What is left out at no cost is named in a line, without dollars or a note about them."""
    season = season_of(demo)
    ids = field_ids(season)
    week = build_week(season, {(MONDAY, ""): []}, left_out=ids)
    for field_id in ids:
        week = waits_with(week, field_id, WaitingCost(field_id, MONDAY, (0.0, 0.0), ()))
    text = words(shown(week, 80))
    assert f"{len(ids)} fields due, and none has anything to lose" in text
    named = ", ".join(left.field_id for left in week.left_out)
    assert f"nothing to lose by waiting: {named}" in text
    assert "$" not in text
    assert "Cost of waiting" not in text
    assert "nothing worth the drive" not in text


def test_fields_not_due_are_named_and_due_ones_counted(demo: Path) -> None:
    """Up to twelve ids of fields that need no visit; how many due fields are walked."""
    season = season_of(demo)
    first, second, *rest = field_ids(season)
    text = words(shown(build_week(season, {(MONDAY, ""): [first]}, left_out=[second]), 80))
    assert "1 of 2 due fields on the route" in text
    assert f"Not due in these days: {', '.join(rest)}" in text
    assert ids_text(("A", "B", "C"), most=2) == "A, B and 1 more"


def test_more_than_a_week_says_that_each_field_is_walked_once(demo: Path) -> None:
    """A second visit within the days asked for is not planned, and the screen does not hide it."""
    season = season_of(demo)
    walks = {(MONDAY, ""): field_ids(season)[:1]}
    assert "walked once" not in words(shown(build_week(season, walks, days=7), 80))
    assert "14 days each field is walked once" in words(
        shown(build_week(season, walks, days=14), 80)
    )


def test_other_ways_are_compared_in_dollars(demo: Path) -> None:
    """Driving and waiting stand beside each other with their sum."""
    text = words(shown(full_week(season_of(demo)), 80))
    assert "this route 9 $251 $410 $662" in text
    assert " 8 $221 $1,533 $1,754" in text


def test_explain_shows_every_term_and_the_formula(demo: Path) -> None:
    """Each field has its terms with dollars, chance and reason; without explain there are none."""
    week = full_week(season_of(demo))
    text = words(shown(week, 240, explain=True))
    assert FORMULA in text
    told = [stop.waiting for day in week.days for stop in day.stops]
    told += [left.waiting for left in week.left_out]
    for waiting in told:
        assert waiting.terms
    assert text.count("anything else: chance") == len(told)
    assert text.count("stink bugs: chance 13%") == len(told)
    assert text.count("if left out until 14 Jul") == len(told)
    assert FORMULA[:40] not in words(shown(week, 240))


def test_explain_sums_up_all_but_the_three_largest_terms(demo: Path) -> None:
    """The rest is one line with its sum, and the way to all of them."""
    season = season_of(demo)
    first = field_ids(season)[0]
    pests = [pest.id for pest in load().pests.values()][:6]
    terms = tuple(pest_term(pest, 8.0 - n) for n, pest in enumerate(pests))
    week = build_week(season, {(MONDAY, ""): [first]})
    week = waits_with(week, first, WaitingCost(first, MONDAY, (33.0,), terms))
    text = words(shown(week, 80, explain=True))
    assert f"{load().pests[pests[2]].name}: chance" in text
    assert f"{load().pests[pests[3]].name}: chance" not in text
    assert "$12 3 others together" in text
    assert "--explain --format json" in text


def test_what_was_found_is_told_in_short(demo: Path) -> None:
    """Words noted, stands, counts of any number of sets, leaf loss, and what was treated."""
    asked = WeekRequest(first_day=MONDAY + 2 * ONE_DAY)
    route = plan_week(demo, as_of=MONDAY + ONE_DAY, asked=asked)
    short = {last_found(term) for stop in route.stops for term in stop.waiting.terms}
    assert "'some' on 29 Jun" in short
    stands = [WaitingTerm(StandRisk(1, 0.03, on), 1.0, 0.03, 1.0) for on in (None, MONDAY)]
    assert [last_found(term) for term in stands] == ["not seen yet", "seen on 6 Jul"]
    for sets in (1, 4):
        counted = seen_on(MONDAY, density("stink-bugs", 0.75, 9.0, sets), 0.08)
        term = pest_term("stink-bugs", 1.0, seen=[counted])
        assert last_found(term) == "0.75 per 25 sweeps on 6 Jul"
    heavy = replace(density("soybean-looper", 4.0, 37.5, 4), found=2.0)
    term = pest_term("soybean-looper", 1.0, seen=[seen_on(MONDAY, heavy, 0.08)])
    assert last_found(term) == "2 per 25 sweeps on 6 Jul", "each counts for two, and two were found"
    assert found_text(seen_on(MONDAY, heavy, 0.08)).startswith(
        "2 per 25 sweeps in 4 sets on 6 Jul, worth 4, "
    )
    treated = pest_term("stink-bugs", 1.0, treated=(MONDAY, "brand"))
    assert last_found(treated) == "before brand on 6 Jul"
    assert last_found(pest_term("stink-bugs", 1.0)) == last_found(other_term(1.0)) == ""


def test_a_check_leads_with_what_was_treated_for(demo: Path) -> None:
    """What was near or above before the treatment comes before what has more at stake."""
    season = season_of(demo)
    name = field_ids(season)[0]
    bugs = density("stink-bugs", 20.0, 9.0, 4)
    season = with_visit(season, name, due=MONDAY, not_before=MONDAY, look_for=(
        PestSign(season.knowledge.pests["dectes-stem-borer"], "adults", ()),
    ))  # fmt: skip
    (stop,) = build_week(season, {(MONDAY, ""): [name]}).stops
    counted = CountedPressure("near threshold", bugs, MONDAY, pressing=(bugs,))
    vars(stop.plan)["counted"] = counted
    told = looks_text(stop, season.knowledge, most=3)
    assert told.startswith("stink bugs")
    assert "Dectes" in told


def test_a_week_of_nothing_says_so(demo: Path) -> None:
    """No working day, and no field to walk, are each one sentence."""
    season = season_of(demo)
    assert "none of these days is a working day" in shown(build_week(season, {}), 40)
    text = shown(build_week(season, {(MONDAY, ""): []}), 40)
    assert "no field is due in these days" in text


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("width", WIDTHS)
def test_no_name_plays_tricks_on_the_screen(width: int, name: str, demo: Path) -> None:
    """Codes and marks of direction do not reach the screen, and all stops do."""
    season = season_of(demo)
    ids = field_ids(season)[:2]
    week = build_week(renamed(season, {ids[0]: name}), {(MONDAY, name): ids}, left_out=ids[:1])
    text = shown(week, width)
    assert not set("\x00\x1b\x7f\x9b\x85\u2028\u202e\r\ud800") & set(text)
    assert all(field_id in text for field_id in ids)
