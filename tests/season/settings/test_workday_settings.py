"""Hours, driving, money and scouts in season.toml: what is read, assumed and refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken import GOOD, build
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagecast.base.dates import parse_time, said_time
from stagecast.base.errors import SeasonProblems
from stagecast.knowledge import load
from stagecast.season.folder import read_season
from stagecast.season.settings.settings import Settings, read_settings
from stagecast.season.settings.workday import Scout, crew, driving_rules, money
from stagecast.season.tables.places import PlaceLimits

KNOWLEDGE = load()
HOURS = KNOWLEDGE.workday.hours
SHORTEST = 'year = 2026\nregion = "TN"\n[home]\nlatitude = 36.0\nlongitude = -89.0\n'
LIMITS = PlaceLimits(25.0, 55.0)
MINUTE_S = 60
# A place of one's own for each example is not worth its time: every example writes the file anew.
QUICK = settings(
    max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)


def good(folder: Path, more: str, top: str = "") -> Settings:
    """Read a season.toml of the shortest kind with more below it; it must be faultless."""
    (folder / "season.toml").write_text(top + SHORTEST + more, "utf-8")
    read = read_settings(folder, regions={"TN": "Tennessee"}, limits=LIMITS)
    assert read.problems == ()
    assert read.settings is not None
    return read.settings


def told(folder: Path, more: str) -> list[str]:
    """What a whole season with more settings at its end is refused for."""
    changes = {"season.toml": GOOD["season.toml"] + more}
    with pytest.raises(SeasonProblems) as caught:
        read_season(build(folder, changes))
    return caught.value.sentences()


def one(folder: Path, more: str) -> Scout:
    """The only scout there is."""
    (scout,) = crew(good(folder, more), KNOWLEDGE)
    return scout


def clock(text: str) -> int:
    """Seconds after midnight, worked out apart from what is tested."""
    hours, minutes = text.split(":")
    return (int(hours) * 60 + int(minutes)) * MINUTE_S


# --- what holds -------------------------------------------------------------------------------


def test_a_season_that_says_nothing_has_one_scout_of_the_usual_hours(tmp_path: Path) -> None:
    """Without a name, from home, on the season's days, with hours and prices of knowledge."""
    season = good(tmp_path, "", 'working_days = ["sat", "mon"]\n')
    (scout,) = crew(season, KNOWLEDGE)
    assert (scout.name, scout.latitude, scout.longitude) == ("", 36.0, -89.0)
    assert scout.working_days == ("sat", "mon")
    assert scout.starts_s == int(HOURS.starts) * MINUTE_S
    assert scout.ends_s == int(HOURS.ends) * MINUTE_S
    assert scout.lunch_s == int(HOURS.lunch) * MINUTE_S
    assert scout.lunch_length_s == int(HOURS.lunch_length) * MINUTE_S
    rules, prices = driving_rules(season, KNOWLEDGE), money(season, KNOWLEDGE)
    assert rules.speed_kmh == float(KNOWLEDGE.workday.driving.speed)
    assert rules.road_factor == float(KNOWLEDGE.workday.driving.road_factor)
    shipped = KNOWLEDGE.waiting.money
    assert (prices.price, prices.crop_yield) == (float(shipped.price), float(shipped.field_yield))
    assert (prices.per_km, prices.per_hour) == (float(shipped.drive), float(shipped.hour))


def test_each_scout_has_its_own_and_the_seasons_otherwise(tmp_path: Path) -> None:
    """One scout says everything, the other only its name; hours of [hours] are between."""
    text = """\
[hours]
starts = "06:00"
lunch_min = 45
[[scouts]]
name = "Scout A"
working_days = ["sun"]
starts = "5:30"
ends = "13:00"
lunch = "10:15"
lunch_min = 20
home = { latitude = 36.5, longitude = -88 }
[[scouts]]
name = "Scout B"
"""
    first, second = crew(good(tmp_path, text), KNOWLEDGE)
    hours = [clock(t) for t in ("5:30", "13:00", "10:15")]
    assert first == Scout("Scout A", 36.5, -88.0, ("sun",), *hours, 20 * MINUTE_S)
    assert (second.name, second.latitude, second.longitude) == ("Scout B", 36.0, -89.0)
    assert (second.starts_s, second.lunch_length_s) == (clock("6:00"), 45 * MINUTE_S)
    assert second.ends_s == int(HOURS.ends) * MINUTE_S


@QUICK
@given(
    starts=st.integers(0, 22 * 60), length=st.integers(60, 1440), padded=st.booleans(),
    lunch_min=st.integers(1, 60), share=st.floats(0, 1),
)  # fmt: skip
def test_any_hours_read_back_as_they_were_written(
    tmp_path: Path, starts: int, length: int, padded: bool, lunch_min: int, share: float
) -> None:
    """To the minute, with or without a leading zero, wherever lunch lies within the day."""
    ends = min(starts + length, 1440)
    lunch = starts + int(share * (ends - starts - lunch_min))
    hours = [f"{m // 60:{'02' if padded else ''}d}:{m % 60:02d}" for m in (starts, ends, lunch)]
    keys = "".join(
        f'{k} = "{h}"\n' for k, h in zip(("starts", "ends", "lunch"), hours, strict=True)
    )
    scout = one(tmp_path, f"[hours]\n{keys}lunch_min = {lunch_min}\n")
    assert (scout.starts_s, scout.ends_s) == (starts * MINUTE_S, ends * MINUTE_S)
    assert (scout.lunch_s, scout.lunch_length_s) == (lunch * MINUTE_S, lunch_min * MINUTE_S)


@given(st.integers(0, 24 * 60))
def test_a_time_is_said_as_it_is_read(minutes: int) -> None:
    """Every minute of a day, its end included, goes out and comes in the same."""
    assert parse_time(said_time(minutes * MINUTE_S)) == minutes * MINUTE_S


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("13 pm", "no hour 13"), ("0:30 AM", "no hour 0"), ("8:61 a.m.", "no such time"),
        ("08:00:61", "no such time"), ("0.3333", "spreadsheet"), ("24:01", "no such time"),
        ("8:60", "no such time"), ("99:00", "no such time"), ("8", "not a time"), ("", "not a"),
        ("8.30", "not a time"), ("-8:00", "not a time"), ("８:00", "not a time"),
        ("8:00\n9:00", "not a time"), ("9" * 9999 + ":00", "not a time"), ("8:5", "not a time"),
    ],
)  # fmt: skip
def test_what_is_no_time_is_refused_with_its_habit(typed: str, why: str) -> None:
    """Hours that no half day has, serials and slips each have a reason; no time is ever guessed."""
    with pytest.raises(ValueError, match=why):
        parse_time(typed)


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        ("1 pm", 13 * 3600), ("12 am", 0), ("12:30 PM", 45_000), ("7:05 a.m.", 25_500),
        ("08:00:00", 28_800), ("1:30pm", 48_600),
    ],
)  # fmt: skip
def test_half_days_and_seconds_are_read(typed: str, seconds: int) -> None:
    """12 am is midnight and 12 pm noon; a spreadsheet's seconds do no harm."""
    assert parse_time(typed) == seconds


def test_either_unit_of_driving_says_the_same(tmp_path: Path) -> None:
    """A mile is 1.609344 km by definition, for the speed and for the cost alike."""
    miles = good(tmp_path, "[driving]\nspeed_mph = 50\n[money]\nper_mile = 0.8\n")
    km = good(tmp_path, "[driving]\nspeed_kmh = 80.4672\n[money]\nper_km = 0.497097\n")
    assert driving_rules(miles, KNOWLEDGE).speed_kmh == pytest.approx(
        driving_rules(km, KNOWLEDGE).speed_kmh
    )
    per_km = money(miles, KNOWLEDGE).per_km
    assert per_km == pytest.approx(money(km, KNOWLEDGE).per_km, rel=1e-5)


@QUICK
@given(
    st.floats(0, 1000), st.floats(0, 500), st.floats(0, 100), st.floats(0, 10_000),
    st.floats(5, 130), st.floats(1, 5),
)  # fmt: skip
def test_any_price_and_speed_reads_back(
    tmp_path: Path, price: float, crop: float, km: float, hour: float, speed: float, factor: float
) -> None:
    """Every accepted number arrives as written, zero and both ends included."""
    text = (
        f"[driving]\nspeed_kmh = {speed!r}\nroad_factor = {factor!r}\n[money]\nbean_price = "
        f"{price!r}\nexpected_yield = {crop!r}\nper_km = {km!r}\nper_hour = {hour!r}\n"
    )
    season = good(tmp_path, text)
    rules, prices = driving_rules(season, KNOWLEDGE), money(season, KNOWLEDGE)
    assert (rules.speed_kmh, rules.road_factor) == (speed, factor)
    assert (prices.price, prices.crop_yield) == (price, crop)
    assert (prices.per_km, prices.per_hour) == (km, hour)


# --- lunch ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        '[hours]\nends = "11:00"\n', '[hours]\nstarts = "12:15"\n', '[hours]\nends = "12:15"\n',
        "[hours]\nlunch_min = 0\n", '[[scouts]]\nname = "A"\nends = "11:00"\n',
        '[hours]\nlunch = "13:00"\n[[scouts]]\nname = "A"\nends = "12:30"\n',
        '[hours]\nlunch = "20:00"\nlunch_min = 0\n',
    ],
)  # fmt: skip
def test_hours_without_the_usual_lunch_have_none(text: str, tmp_path: Path) -> None:
    """A half day has no lunch that nobody asked for, and 0 minutes are none."""
    changes = {"season.toml": GOOD["season.toml"] + text}
    season = read_season(build(tmp_path, changes))
    (scout,) = crew(season.settings, KNOWLEDGE)
    assert scout.lunch_length_s == 0


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ('[hours]\nlunch = "6:00"\n', "line 15, hours.lunch"),
        ('[hours]\nends = "14:00"\nlunch = "13:45"\n', "line 16, hours.lunch"),
        ('[hours]\nends = "14:00"\nlunch_min = 180\n', "line 16, hours.lunch_min"),
        ('[[scouts]]\nname = "A"\nlunch = "16:00"\n', "line 16, scouts.lunch"),
    ],
)
def test_a_lunch_asked_for_outside_the_day_is_refused(
    text: str, place: str, tmp_path: Path
) -> None:
    """At the setting that puts it there, with the hours it has to lie in."""
    (sentence,) = told(tmp_path, text)
    assert sentence.startswith(f"season.toml {place}: lunch at ")
    assert "within" in sentence


# --- what is refused --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ('[hours]\nends = "7:59"\n', "line 15, hours.ends", "starts at 7:00 and ends at 7:59"),
        ('[hours]\nstarts = "15:30"\n', "line 15, hours.starts", "ends at 16:00"),
        ('[hours]\nstarts = "9:00"\nends = "5:00"\n', "line 16, hours.ends", "an hour after"),
        ('[[scouts]]\nname = "A"\nstarts = "17:00"\n', "line 16, scouts.starts", "starts at 17:00"),
        ("[hours]\nstarts = 7\n", "line 15, hours.starts", "a whole number"),
        ("[hours]\nstarts = 07:00:00\n", "line 15, hours.starts", "a date or time"),
        ('[hours]\nstarts = "13 am"\n', "line 15, hours.starts", "no hour 13"),
        ("[hours]\nlunch_min = -1\n", "line 15, hours.lunch_min", "from 0"),
        ("[hours]\nlunch_min = 181\n", "line 15, hours.lunch_min", "to 180"),
        ("[hours]\nlunch_min = 30.5\n", "line 15, hours.lunch_min", "decimals"),
        ("[hours]\nlunch_min = true\n", "line 15, hours.lunch_min", "true or false"),
        ("[hours]\nend = 1\n", "line 15, hours.end", "hours.ends?"),
        ("[driving]\nspeed_mph = 81\n", "line 15, driving.speed_mph", "to 80"),
        ("[driving]\nspeed_kmh = 4.9\n", "line 15, driving.speed_kmh", "from 5"),
        ("[driving]\nspeed_kmh = nan\n", "line 15, driving.speed_kmh", "'nan'"),
        ("[driving]\nroad_factor = 0.99\n", "line 15, driving.road_factor", "from 1"),
        ("[driving]\nroad_factor = 5.1\n", "line 15, driving.road_factor", "to 5"),
        ("[driving]\nspeed_mph = 45\nspeed_kmh = 72\n", "line 16, driving.speed_kmh", "twice"),
        ("[money]\nper_km = 1\nper_mile = 1\n", "line 15, money.per_km", "twice"),
        ("[money]\nbean_price = inf\n", "line 15, money.bean_price", "'inf'"),
        ("[visits]\nbetween_days = 15\n", "line 15, visits.between_days", "from 5 to 14"),
        ("[visits]\nlongest_gap_days = 2\n", "line 15, visits.longest_gap_days", "from 3 to 60"),
        ("[money]\nbean_price = -0.01\n", "line 15, money.bean_price", "from 0"),
        ('[money]\nbean_price = "$10"\n', "line 15, money.bean_price", "text in quotes"),
        ("[money]\nexpected_yield = 501\n", "line 15, money.expected_yield", "to 500"),
        (f"[money]\nper_hour = 1{'0' * 400}\n", "line 15, money.per_hour", "dollars an hour"),
        (f"[money]\nper_hour = 0x{'F' * 5000}\n", "line 15, money.per_hour", "digits"),
        ("[scouts]\nname = 'A'\n", "line 14, scouts", "two brackets"),
        ("[[hours]]\n", "line 14, hours", "an [hours] section"),
        ("[[scouts]]\n", "line 14, scouts.name", "missing"),
        ('[[scouts]]\nname = " "\n', "line 15, scouts.name", "blank"),
        ('[[scouts]]\nname = "A\\u202eB"\n', "line 15, scouts.name", "U+202E"),
        ('[[scouts]]\nname = "A\\u0007"\n', "line 15, scouts.name", "U+0007"),
        ('[[scouts]]\nname = "Home"\n', "line 15, scouts.name", "home base"),
        ('[[scouts]]\nname = "f1"\n', "line 15, scouts.name", "a field in fields.csv"),
        (f'[[scouts]]\nname = "{"A" * 81}"\n', "line 15, scouts.name", "81 characters"),
        ('[[scouts]]\nname = "A"\nworking_days = []\n', "line 16, scouts.working_days", "no day"),
        ('[[scouts]]\nname = "A"\nworking_days = ["mon", "mon"]\n',
         "line 16, scouts.working_days", "twice"),
        ('[[scouts]]\nname = "A"\nhome = 3\n', "line 16, scouts.home", "a place such as"),
        ('[[scouts]]\nname = "A"\nhome = { latitude = 36.1 }\n',
         "line 16, scouts.home.longitude", "missing"),
        ('[[scouts]]\nname = "A"\n[scouts.home]\nlatitude = -88.9\nlongitude = 36.1\n',
         "line 17, scouts.home.latitude", "swapped"),
        ('[[scouts]]\nname = "A"\nhome = { latitude = 36.1, longitude = 88.9 }\n',
         "line 16, scouts.home.longitude", "minus sign"),
    ],
)  # fmt: skip
def test_one_fault_is_one_sentence_at_its_line(
    text: str, place: str, words: str, tmp_path: Path
) -> None:
    """Every setting is refused beyond sense, in one line that says what is accepted or why."""
    (sentence,) = told(tmp_path, text)
    assert sentence.startswith(f"season.toml {place}: ")
    assert words in sentence
    assert "\n" not in sentence
    assert len(sentence) < 800


def test_scouts_of_the_same_name_are_told_with_the_other_line(tmp_path: Path) -> None:
    """Capitals, blanks and hyphens do not make two names: the second one is refused."""
    text = '[[scouts]]\nname = "Scout A"\n[[scouts]]\nname = "scout-a "\n'
    (sentence,) = told(tmp_path, text)
    assert sentence.startswith("season.toml line 17, scouts.name: the scout on line 15")


def test_more_scouts_than_anyone_has_are_told_once(tmp_path: Path) -> None:
    """A thousand sections are one sentence."""
    text = "".join(f'[[scouts]]\nname = "S{n}"\n' for n in range(1000))
    (sentence,) = told(tmp_path, text)
    assert "1000 scouts are too many" in sentence


def test_all_faults_come_in_one_pass_by_line(tmp_path: Path) -> None:
    """Types, numbers, hours, names and places of different sections, in file order."""
    text = """\
[hours]
starts = "8 o'clock"
lunch_min = 999
[driving]
speed_mph = 45
speed_kmh = 500
[money]
bean_price = nan
[[scouts]]
name = "F2"
starts = "5:00"
ends = "5:30"
colour = "red"
[[scouts]]
name = "f2"
home = { latitude = 96.1, longitude = -88.9 }
"""
    places = [sentence.partition(":")[0] for sentence in told(tmp_path, text)]
    assert sorted(set(places), key=places.index) == [
        "season.toml line 15, hours.starts",
        "season.toml line 16, hours.lunch_min",
        "season.toml line 19, driving.speed_kmh",
        "season.toml line 21, money.bean_price",
        "season.toml line 23, scouts.name",
        "season.toml line 25, scouts.ends",
        "season.toml line 26, scouts.colour",
        "season.toml line 28, scouts.name",
        "season.toml line 29, scouts.home.latitude",
    ]


@QUICK
@given(
    st.dictionaries(
        st.sampled_from(["starts", "ends", "lunch", "lunch_min", "name", "home", "working_days"]),
        st.sampled_from(
            ['"07:00"', '"x"', "-1", "nan", "1e400", "[]", "{}", "[[]]", "true", '"\\u0000"',
             "1979-05-27", '{ latitude = nan, longitude = "x" }', "0xFFFFFFFFFFFFFFFFFFFFFFFF"]
        ),
    ),
    st.sampled_from(["[hours]", "[[scouts]]", "[[hours]]", "[scouts]", "[scouts.home]"]),
)  # fmt: skip
def test_any_mixture_gives_a_season_or_sentences(
    tmp_path: Path, keys: dict[str, str], section: str
) -> None:
    """Whatever value stands under whatever key, nothing but sentences of one line comes out."""
    text = "\n".join([section, *(f"{key} = {value}" for key, value in keys.items()), ""])
    changes = {"season.toml": GOOD["season.toml"] + text}
    sentences: list[str] = []
    try:
        everyone = crew(read_season(build(tmp_path, changes)).settings, KNOWLEDGE)
    except SeasonProblems as refused:
        everyone, sentences = (), refused.sentences()
    assert bool(everyone) != bool(sentences)
    assert not any("\n" in sentence for sentence in sentences)
    assert all(scout.ends_s - scout.starts_s >= 60 * MINUTE_S for scout in everyone)
