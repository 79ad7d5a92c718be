"""The week on a screen: it fits a phone, leaves nothing out, and plays no tricks."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.console import Console
from week_builder import HOSTILE, MONDAY, build_week, field_ids, full_week, renamed, season_of

from stagecast.outputs.week_view import show_week
from stagecast.scouting.week_types import WeekRoute

WIDTHS = (40, 80, 120)
FORMULA = ("loss = chance x dollars an acre and day x acres",)


def shown(week: WeekRoute, width: int, *, explain: bool = False) -> str:
    """What stands on a screen of some width, without colour; no line is wider."""
    out = io.StringIO()
    console = Console(file=out, width=width, highlight=False, emoji=False, markup=False)
    show_week(console, week, explain=explain, formula=FORMULA)
    text = out.getvalue()
    assert max(map(cell_len, text.splitlines())) <= width
    return text


def words(text: str) -> str:
    """The text without its line breaks and columns."""
    return " ".join(text.split())


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
    assert "Mon 6 Jul, Ann -> Tue 7 Jul, Ann; Monday was rained out" in text
    assert "-> left out; no hours left" in text


@pytest.mark.parametrize("width", WIDTHS)
def test_estimates_heat_and_judgement_are_said(width: int, demo: Path) -> None:
    """No distance that was estimated, no hot day and no judgement goes without its word."""
    text = words(shown(full_week(season_of(demo)), width))
    assert "Distances are estimates: straight line x 1.3, driven at 45 mph." in text
    assert "hot: high near 95 F, 63% chance of 91 F or more; start early" in text
    assert "It rests on judgement" in text
    assert "consider, never spray" in text


def test_other_ways_are_compared_in_dollars(demo: Path) -> None:
    """Driving and waiting stand beside each other with their sum."""
    text = words(shown(full_week(season_of(demo)), 80))
    assert "this route 9 $251 $410 $662" in text
    assert "nearest field first 8 $221 $1,533 $1,754" in text


def test_explain_shows_every_term_and_the_formula(demo: Path) -> None:
    """Each field has its terms with dollars, chance and reason; without explain there are none."""
    week = full_week(season_of(demo))
    text = words(shown(week, 240, explain=True))
    assert FORMULA[0] in text
    told = [stop.waiting for day in week.days for stop in day.stops]
    told += [left.waiting for left in week.left_out]
    for waiting in told:
        assert waiting.terms
    assert text.count("what nobody foresees:") == len(told)
    assert text.count("stink bugs: chance 0.13") == len(told)
    assert FORMULA[0] not in shown(week, 240)


def test_a_week_of_nothing_says_so(demo: Path) -> None:
    """No working day, and no field to walk, are each one sentence."""
    season = season_of(demo)
    assert "none of these days is a working day" in shown(build_week(season, {}), 40)
    text = shown(build_week(season, {(MONDAY, ""): []}), 40)
    assert "no field is walked on these days" in text


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
