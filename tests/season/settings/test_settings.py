"""season.toml: what is accepted, what is assumed, and how faults are told."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from stagecast.base.errors import Problem
from stagecast.season.settings.settings import Settings, read_settings
from stagecast.season.settings.toml import key_lines
from stagecast.season.tables.places import PlaceLimits

REGIONS = {"NC": "North Carolina", "TN": "Tennessee"}
LIMITS = PlaceLimits(25.0, 55.0)
SHORTEST = 'year = 2026\nregion = "TN"\n[home]\nlatitude = 36.0\nlongitude = -89.0\n'


def read(folder: Path, text: str | bytes) -> tuple[Settings | None, tuple[Problem, ...]]:
    """Write a season.toml and read it."""
    raw = text if isinstance(text, bytes) else text.encode()
    (folder / "season.toml").write_bytes(raw)
    found = read_settings(folder, regions=REGIONS, limits=LIMITS)
    return found.settings, found.problems


def good(folder: Path, text: str | bytes) -> Settings:
    """Read a season.toml that must be faultless."""
    settings, problems = read(folder, text)
    assert problems == ()
    assert settings is not None
    return settings


def test_shortest_file_takes_the_stated_defaults(tmp_path: Path) -> None:
    """Only year, region and home are required; the rest has the defaults that are documented."""
    settings = good(tmp_path, SHORTEST)
    assert settings.units == "us"
    assert settings.working_days == ("mon", "tue", "wed", "thu", "fri")
    assert settings.fields_per_day is None
    assert settings.weather.source == "station csv"
    assert settings.weather.gap_policy == "bridge"
    assert settings.weather.bridge_days is None
    assert settings.weather.past_seasons is None


def test_everything_that_is_set_is_kept(tmp_path: Path) -> None:
    """Each setting of a full file arrives as written, whole-number degrees included."""
    text = """\
year = 2024
units = "metric"
region = "NC"
working_days = ["sat", "mon"]
fields_per_day = 12
home = { latitude = 35, longitude = -78.5 }
[weather]
source = "meteostat"
gap_policy = "refuse"
bridge_days = 0
past_seasons = 12
"""
    settings = good(tmp_path, text)
    assert (settings.year, settings.units, settings.region) == (2024, "metric", "NC")
    assert (settings.working_days, settings.fields_per_day) == (("sat", "mon"), 12)
    assert (settings.home.latitude, settings.home.longitude) == (35.0, -78.5)
    weather = settings.weather
    assert (weather.source, weather.gap_policy) == ("meteostat", "refuse")
    assert (weather.bridge_days, weather.past_seasons) == (0, 12)


@pytest.mark.parametrize("region", ["NC", "nc", "North Carolina", "north  carolina"])
def test_state_is_read_by_code_or_name(region: str, tmp_path: Path) -> None:
    """A state's code or name in any case ends as its two-letter code."""
    assert good(tmp_path, SHORTEST.replace("TN", region)).region == "NC"


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_editors_marks_and_line_ends_do_not_matter(
    mark: bytes, ending: str, tmp_path: Path
) -> None:
    """A byte-order mark and Windows line ends read the same as a plain file."""
    raw = mark + SHORTEST.replace("\n", ending).encode()
    assert good(tmp_path, raw) == good(tmp_path, SHORTEST)


def test_settings_cannot_be_changed_after_reading(tmp_path: Path) -> None:
    """Settings are frozen, so that no part of a run can alter them for another."""
    settings = good(tmp_path, SHORTEST)
    with pytest.raises(ValidationError, match="frozen"):
        settings.year = 2020


def test_all_faults_come_in_one_pass_by_line(tmp_path: Path) -> None:
    """Faults of type, value, unknown name and place are told together, in file order."""
    text = """\
year = "2026"
region = "Tenessee"
working_days = ["mon", "Tue", "mon"]
[home]
latitude = 86
longitude = true
[weather]
bridge_days = 3.5
source = "noaa"
colour = 1
"""
    settings, problems = read(tmp_path, text)
    assert settings is None
    assert [(problem.line, problem.column) for problem in problems] == [
        (1, "year"),
        (2, "region"),
        (3, "working_days"),
        (6, "home.longitude"),
        (8, "weather.bridge_days"),
        (9, "weather.source"),
        (10, "weather.colour"),
    ]
    assert all(problem.accepted for problem in problems)


@pytest.mark.parametrize(
    ("typed", "column", "meant"),
    [
        ("yaer = 2026", "yaer", "did you mean year?"),
        ("unit = 'us'", "unit", "did you mean units?"),
        ("latitude = 36.0", "latitude", "did you mean home.latitude? It belongs under [home]"),
        ("[wether]\nsource = 'meteostat'", "wether", "did you mean weather?"),
        ("[home.latitud]", "home.latitud", "did you mean home.latitude?"),
    ],
)
def test_unknown_names_suggest_the_nearest(
    typed: str, column: str, meant: str, tmp_path: Path
) -> None:
    """A misspelt or misplaced name is told once, with the name that was probably meant."""
    home = "[home]\nlatitude = 36.0\nlongitude = -89.0\n"
    top = {"yaer": 'region = "TN"\n'}.get(column, 'year = 2026\nregion = "TN"\n')
    text = f"{top}{home}{typed}\n" if typed.startswith("[") else f"{top}{typed}\n{home}"
    if column == "latitude":
        text = text.replace("[home]\nlatitude = 36.0\n", "[home]\n")
    if column == "home.latitud":
        text = text.replace("latitude = 36.0\n", "")
    _, (problem,) = read(tmp_path, text)
    assert problem.column == column
    assert problem.next_step == meant
    assert problem.line == text.split("\n").index(typed.split("\n")[0]) + 1


def test_a_setting_below_a_section_is_sent_to_the_top(tmp_path: Path) -> None:
    """The commonest slip of TOML, a setting under the wrong heading, is one clear sentence."""
    text = "year = 2026\n[home]\nlatitude = 36.0\nlongitude = -89.0\nregion = 'TN'\n"
    _, (problem,) = read(tmp_path, text)
    assert (problem.line, problem.column) == (5, "home.region")
    assert problem.next_step == "did you mean region? It belongs above the first [section]"


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "year = " + "9" * 5_000,
        SHORTEST.replace("2026", "0x" + "F" * 5_000),
        SHORTEST.replace("36.0", "0x" + "F" * 5_000),
        f"fields_per_day = 0x{'F' * 5_000}\n" + SHORTEST,
        SHORTEST.replace("36.0", "1" + "0" * 400),
        "\x00",
        "year",
        "= 2026",
        'region = """TN',
        "home = 5",
        "home = []",
        SHORTEST + "[[weather]]\n",
        SHORTEST.replace("2026", "2026-05-04"),
        SHORTEST + '"a\\nb" = 1\n',
    ],
)
def test_hostile_files_are_told_and_never_crash(text: str, tmp_path: Path) -> None:
    """Deep nesting, endless numbers and wrong shapes give one-line sentences, not tracebacks."""
    settings, problems = read(tmp_path, text)
    assert settings is None
    assert problems
    assert not any("\n" in problem.sentence() for problem in problems)


def test_every_wrong_day_is_told_and_none_twice(tmp_path: Path) -> None:
    """Two words that are no days are two sentences; a list without a day in it adds no third."""
    _, problems = read(tmp_path, 'working_days = ["someday", "never"]\n' + SHORTEST)
    assert [problem.found for problem in problems] == ["someday", "never"]


def test_a_number_too_large_for_a_place_is_told_once(tmp_path: Path) -> None:
    """A latitude of 400 digits is one sentence, not one for its size and one for its place."""
    _, problems = read(tmp_path, SHORTEST.replace("36.0", "1" + "0" * 400))
    assert [problem.column for problem in problems] == ["home.latitude"]


@pytest.mark.parametrize(("seasons", "good"), [(60, True), (61, False)])
def test_past_seasons_end_where_records_do(seasons: int, good: bool, tmp_path: Path) -> None:
    """Sixty past seasons are accepted, more are a slip."""
    _, problems = read(tmp_path, f"{SHORTEST}[weather]\npast_seasons = {seasons}\n")
    assert [problem.column for problem in problems] == ([] if good else ["weather.past_seasons"])


def test_thousands_of_unknown_settings_are_told_in_few_sentences(tmp_path: Path) -> None:
    """A file of another program in place of ours does not fill the screen."""
    text = SHORTEST + "".join(f"[x{n}]\n" for n in range(5_000))
    _, problems = read(tmp_path, text)
    assert len(problems) <= 40
    assert "more faults" in problems[-1].message


def test_a_folder_named_season_toml_is_told(tmp_path: Path) -> None:
    """A folder where the file should be is a sentence too."""
    (tmp_path / "season.toml").mkdir()
    (problem,) = read_settings(tmp_path, regions=REGIONS, limits=LIMITS).problems
    assert "folder" in problem.message


@given(st.text(max_size=200))
def test_any_text_gives_settings_or_problems(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    """Whatever stands in the file, the outcome is settings or problems, never both or neither."""
    raw = text.encode("utf-8", errors="surrogatepass")
    settings, problems = read(tmp_path_factory.mktemp("any"), raw)
    assert (settings is None) == bool(problems)


def test_lines_of_keys_skip_text_over_several_lines() -> None:
    """Something that looks like a setting inside a long text is not taken for one."""
    text = 'a = """\nyear = 1\n"""\nyear = 2\n[home]\n"latitude" = 3\nx.y = 4\n'
    assert key_lines(text) == {
        ("a",): 1,
        ("year",): 4,
        ("home",): 5,
        ("home", "latitude"): 6,
        ("home", "x", "y"): 7,
    }


@pytest.mark.parametrize(
    ("phone", "dial"),
    [
        ("555-0100", "5550100"),
        ("+1 (555) 555-0100 x12", "+15555550100"),
        ("555.0100 ext. 3", "5550100"),
        ("  555  0100 ", "5550100"),
    ],
)
def test_a_telephone_number_is_kept_as_written(phone: str, dial: str, tmp_path: Path) -> None:
    """Whom a grower may call stands as it was typed; what is dialled leaves the extension out."""
    consultant = good(
        tmp_path, f'{SHORTEST}[consultant]\nname = "Consultant A"\nphone = "{phone}"\n'
    ).consultant
    assert (consultant.name, consultant.dial) == ("Consultant A", dial)
    assert consultant.phone == " ".join(phone.split())
    assert good(tmp_path, SHORTEST).consultant.dial == ""


@pytest.mark.parametrize(
    ("line", "key", "said"),
    [
        ('phone = "call me"', "consultant.phone", "this is no telephone number"),
        ('phone = "1234"', "consultant.phone", "this is no telephone number"),
        ('phone = "1234567890123456"', "consultant.phone", "this is no telephone number"),
        ("phone = 5550100", "consultant.phone", "a telephone number in quotes"),
        ('name = " "', "consultant.name", "must not be blank"),
        ('name = "A\\nB"', "consultant.name", "line break"),
        ('fone = "555-0100"', "consultant.fone", "did you mean consultant.phone?"),
    ],
)
def test_a_wrong_consultant_is_named(line: str, key: str, said: str, tmp_path: Path) -> None:
    """What cannot be a name or a telephone number is told with its line and what would do."""
    settings, problems = read(tmp_path, f"{SHORTEST}[consultant]\n{line}\n")
    assert settings is None
    (problem,) = problems
    assert (problem.line, problem.column) == (7, key)
    assert said in problem.sentence()
