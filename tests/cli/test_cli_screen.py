"""What reaches a terminal: no tricks from people's text, no long lines, no need of colour."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import pytest
from broken import GOOD, build
from commands import run_command, said
from rich.cells import cell_len
from season_builder import StationFile, write_weather

from stagecast.forecast.ranges import DateRange
from stagecast.screens.screen import range_text

pytestmark = pytest.mark.usefixtures("planned_once")

FORECASTS = ("stages", "windows", "revisit", "plan")
READERS = ("check", *FORECASTS)
AS_OF = "2026-06-20"
ON_THE_DAY = ("--as-of", AS_OF)
DEMO_DAY = ("--as-of", "2026-07-07")

ESCAPE = re.compile("\x1b\\[[0-9;]*m")
UNSAFE = set("\x00\x07\x08\x0b\x0c\r\x1b\x7f\x85\x90\x9b\x9d\u2028\u2029")
UNSAFE |= set("\u00ad\u200b\u200c\u200e\u200f\u2060\ufeff")
UNSAFE |= set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")

HOSTILE_NAMES = {
    "colour": "\x1b[31mred\x1b[0m",
    "window title": "\x1b]0;gotcha\x07",
    "clear screen": "\x1b[2J\x1b[H",
    "eight-bit escape": "\x9b31mred\x9d0;gotcha\x9c",
    "backspace": "safe\x08\x08\x08\x08evil",
    "markup": "[red]red[/red] [link=x]y[/link] [/]",
    "markup left open": "[bold",
    "right to left": "\u202egnp.exe\u202c",
    "isolate": "\u2066abc\u2069",
    "line separators": "a\u2028b\u2029c\x85d",
    "line breaks": '"a\nb\r\nc"',
    "tab": "a\tb",
    "emoji": "😀👨‍👩‍👧‍👦🇺🇸",
    "combining": "e" + "\u0301" * 300,
    "wide": "大豆" * 100,
    "invisible": "\u200b\u200d\ufeff",
    "endless word": "x" * 10_000,
    "many words": "ab " * 3_000,
    "emoji code": ":smiley: :warning:",
}
HOSTILE_IDS = {
    "longest": "F" * 64,
    "wide": "豆" * 64,
    "right to left": "\u0641\u0648\u0644",
    "markup": "[red]F2[/]",
    "emoji": "😀" * 32,
    "formula": "=1+1",
}

STATION = StationFile(
    latitude=36.15, longitude=-89.3, first=dt.date(2025, 1, 1), last=dt.date(2026, 6, 20)
)


def season(folder: Path, changes: dict[str, str]) -> Path:
    """The good season of ``broken.py`` with weather, and with ``changes``."""
    write_weather(build(folder, changes), [STATION])
    return folder


def assert_fits(text: str, columns: int) -> None:
    """No line is wider than the screen, counting wide characters twice."""
    long = [line for line in text.splitlines() if cell_len(line) > columns]
    assert long == []


# --- people's text --------------------------------------------------------------------------


@pytest.mark.parametrize("name", HOSTILE_NAMES.values(), ids=HOSTILE_NAMES.keys())
def test_a_hostile_field_name_stays_inside_its_cell(name: str, tmp_path: Path) -> None:
    """Whatever stands in field_name, every table is printed whole, narrow and without its tricks.

    The other fields are all still there, and no control, line or direction character is printed.
    """
    changes = {"fields.csv": GOOD["fields.csv"].replace("South Bottom", name)}
    folder = season(tmp_path, changes)
    for command in FORECASTS:
        every = () if command == "stages" else ("--all",)
        ran = run_command(command, folder, *ON_THE_DAY, *every)
        assert (ran.code, ran.err) == (0, "")
        assert "F1 North" in ran.out
        assert "F3 Church" in ran.out
        assert not UNSAFE & set(ran.out)
        assert_fits(ran.out.replace("\n", "\r\n"), 80)


@pytest.mark.parametrize("name", HOSTILE_IDS.values(), ids=HOSTILE_IDS.keys())
def test_a_hostile_field_id_that_is_allowed_does_no_harm(name: str, tmp_path: Path) -> None:
    """The longest, widest and oddest ids are printed narrow and safe, and can be asked for."""
    changes = {file: GOOD[file].replace("F2,", f"{name},") for file in ("fields.csv", "visits.csv")}
    folder = season(tmp_path, changes)
    for command in FORECASTS:
        ran = run_command(command, folder, *ON_THE_DAY, f"--field={name}")
        assert (ran.code, ran.err) == (0, "")
        assert not UNSAFE & set(ran.out)
        assert_fits(ran.out, 80)
    found = json.loads(said("plan", folder, *ON_THE_DAY, "--format", "json"))
    assert name in [field["field_id"] for field in found["fields"]]


@pytest.mark.parametrize("name", ["[red]red[/red] [/]", ":smiley:", "a\\[b]"])
def test_markup_in_a_name_is_printed_as_typed(name: str, tmp_path: Path) -> None:
    """Brackets, colons and backslashes are letters like others."""
    changes = {"fields.csv": GOOD["fields.csv"].replace("South Bottom", name)}
    folder = season(tmp_path, changes)
    assert f"F2 {name} " in run_command("stages", folder, *ON_THE_DAY, columns=120).out


def test_json_and_csv_keep_a_name_as_typed_but_for_what_steers_a_screen(tmp_path: Path) -> None:
    """Files hold what the person typed; a control character was made a mark when it was read."""
    name = "\x1b[31m大豆 é"
    folder = season(tmp_path, {"fields.csv": GOOD["fields.csv"].replace("South Bottom", name)})
    text = said("plan", folder, *ON_THE_DAY, "--format", "json")
    assert "\ufffd[31m大豆 é" in [one["field_name"] for one in json.loads(text)["fields"]]
    assert "\x1b" not in text
    assert "大豆 é" in text
    assert "\x1b" not in said("plan", folder, *ON_THE_DAY, "--format", "csv")


def test_a_refused_value_is_shown_without_its_tricks(tmp_path: Path) -> None:
    """An escape sequence in a wrong cell reaches the screen only in a harmless form."""
    changes = {"fields.csv": GOOD["fields.csv"].replace("45.5", "\x1b[2J45")}
    ran = run_command("check", season(tmp_path, changes), *ON_THE_DAY)
    assert ran.code == 2
    assert not UNSAFE & set(ran.out)
    assert "[2J45" in ran.out


# --- dates ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "middle", "high", "text"),
    [
        ("2026-07-04", "2026-07-11", "2026-07-18", "11 Jul (4-18)"),
        ("2026-07-15", "2026-07-24", "2026-08-03", "24 Jul (15 Jul-3 Aug)"),
        ("2026-06-28", "2026-07-04", "2026-07-10", "4 Jul (28 Jun-10 Jul)"),
        ("2026-06-28", "2026-07-04", "2026-08-01", "4 Jul (28 Jun-1 Aug)"),
        ("2026-07-24", "2026-07-24", "2026-07-24", "24 Jul"),
        ("2026-09-20", "2026-09-30", None, "30 Sep (20 Sep-never)"),
        ("2026-09-20", None, None, "unlikely (from 20 Sep)"),
        (None, None, None, "not this season"),
    ],
)
def test_a_range_names_its_months_where_they_differ(
    low: str | None, middle: str | None, high: str | None, text: str
) -> None:
    """Bare day numbers stand only where all three days are of one month."""
    dates = (None if day is None else dt.date.fromisoformat(day) for day in (low, middle, high))
    assert range_text(DateRange(*dates)) == text


# --- width ----------------------------------------------------------------------------------


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize("command", READERS)
def test_no_line_is_wider_than_the_screen(command: str, columns: int, demo: Path) -> None:
    """At 80 and at 120 columns everything fits, notes and all."""
    notes = () if command == "check" else ("--notes",)
    assert_fits(said(command, demo, *DEMO_DAY, *notes, columns=columns), columns)


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize("command", FORECASTS)
def test_one_field_in_detail_fits_too(command: str, columns: int, demo: Path) -> None:
    """With --field the longer tables and reasons are wrapped, not cut."""
    assert_fits(said(command, demo, *DEMO_DAY, "--field", "F01", columns=columns), columns)


@pytest.mark.parametrize("command", FORECASTS)
def test_a_narrow_screen_loses_no_word(command: str, demo: Path) -> None:
    """Every field and its name stand in the table at 80 columns as at 200."""
    narrow = said(command, demo, *DEMO_DAY, columns=80)
    wide = said(command, demo, *DEMO_DAY, columns=200)
    for name in ("F01 Levee 80", "F07 Old Orchard", "F19 Rail Spur"):
        assert name in narrow
        assert name in wide


@pytest.mark.parametrize("columns", [1, 0, -5])
def test_an_absurd_width_still_gives_a_readable_table(columns: int, demo: Path) -> None:
    """Below the narrowest useful screen the table keeps its columns."""
    ran = run_command("revisit", demo, *DEMO_DAY, columns=columns)
    assert ran.code == 0
    assert "F01 Levee 80" in ran.out


# --- colour ---------------------------------------------------------------------------------


@pytest.mark.parametrize("command", READERS)
def test_what_is_not_a_terminal_gets_no_escape(command: str, demo: Path) -> None:
    """In a pipe or a file there is text only, whatever TERM says."""
    ran = run_command(command, demo, *DEMO_DAY, screen={"TERM": "xterm-256color"})
    assert ran.code == 0
    assert "\x1b" not in ran.out


@pytest.mark.parametrize("command", FORECASTS)
def test_colour_adds_nothing_but_colour(command: str, demo: Path) -> None:
    """With FORCE_COLOR there are colours, and without them the words are the same."""
    screen = {"TERM": "xterm-256color", "FORCE_COLOR": "1"}
    coloured = run_command(command, demo, *DEMO_DAY, screen=screen).out
    assert "\x1b[" in coloured
    assert ESCAPE.sub("", coloured) == said(command, demo, *DEMO_DAY)


def test_pressing_fields_are_coloured(demo: Path) -> None:
    """Colour is in use where a terminal has it, so that NO_COLOR has something to take away."""
    screen = {"TERM": "xterm-256color", "FORCE_COLOR": "1"}
    assert "38;5;208" in run_command("plan", demo, *DEMO_DAY, screen=screen).out


def test_no_color_takes_the_colours_away(demo: Path) -> None:
    """NO_COLOR wins over FORCE_COLOR: no colour code is left, and the words are the same."""
    screen = {"TERM": "xterm-256color", "FORCE_COLOR": "1", "NO_COLOR": "1"}
    text = run_command("plan", demo, *DEMO_DAY, screen=screen).out
    assert not re.search("\x1b\\[[0-9;]*(?:[34]8;[25]|[349][0-7]m)", text)
    assert ESCAPE.sub("", text) == said("plan", demo, *DEMO_DAY)


@pytest.mark.parametrize("format_", ["json", "csv"])
def test_machine_formats_have_neither_colour_nor_width(format_: str, demo: Path) -> None:
    """JSON and CSV are the same on any screen."""
    options = ("plan", demo, *DEMO_DAY, "--format", format_)
    screen = {"TERM": "xterm-256color", "FORCE_COLOR": "1"}
    assert run_command(*options, columns=40, screen=screen).out == said(*options)
