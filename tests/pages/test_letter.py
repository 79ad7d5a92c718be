"""The letter to a grower says of all their fields what the season says, and of each one date."""

from __future__ import annotations

import datetime as dt
import re
import shutil
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from commands import run_command
from hypothesis import given
from hypothesis import strategies as st
from log_builder import at, log_of, sets_of, treatment, visit
from readability import body_text, grade
from season_builder import FieldLine, build_season, day

from stagecast.base.errors import SeasonProblems
from stagecast.pages.growers.brief import brief_html, brief_of
from stagecast.pages.growers.found import found_in
from stagecast.pages.growers.letter import (
    FieldNews,
    Letter,
    letter_html,
    letter_of,
    letter_text,
    letters_of,
    save_letters,
)
from stagecast.pages.render import letter_name
from stagecast.season.log.entries import LoggedCount, LoggedSet, ScoutingLog
from stagecast.season.settings.settings import ConsultantSettings
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import walk_of
from stagecast.words.plain import plain_day, short_day

AS_OF = day(7, 7)
COUNTED = visit(day(7, 6), sets_of("stink-bugs", (19, 21, 18, 20)), field_id="F05", stage="R3")
TREATED = treatment(at(7, 6, 16), 48, field_id="F06", product="an invented product")
LOG = log_of(COUNTED, TREATED)
CONSULTANT = '[consultant]\nname = "Consultant A"\nphone = "+1 555 0100 x12"\n'
HOSTILE = "<script>x()</script>\"'&\u202e\u0007"


@pytest.fixture(scope="module")
def folder(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with a consultant, blocked times, a field without a date; Grower B has five more."""
    made = tmp_path_factory.mktemp("letters") / "season"
    shutil.copytree(demo, made)
    settings = (made / "season.toml").read_text("utf-8")
    (made / "season.toml").write_text(f"{settings}\n{CONSULTANT}", "utf-8")
    fields = (made / "fields.csv").read_text("utf-8").replace("F01,Grower A", "F01,grower  b")
    fields += "F90,Grower B,Not Yet,36.4,-88.9,20,,4.2,,,,\nF91,,Nobody,36.4,-88.9,20,,4.2,,,,\n"
    (made / "fields.csv").write_text(fields, "utf-8")
    rows = (
        "F04,2026-07-07,2026-07-07,12:00,16:00,a wedding",
        "F07,2026-07-10,2026-07-11,,,fence & ditch",
        "F90,2026-07-07,2026-07-08,,,a drain",
    )
    header = "field_id,first_date,last_date,from_time,to_time,why"
    (made / "blocked.csv").write_text("\n".join([header, *rows, ""]), "utf-8")
    return made


@pytest.fixture(scope="module")
def season(folder: Path) -> SeasonDay:
    """It on a day in July, with counts above a threshold and a treatment."""
    return SeasonDay.open(folder, as_of=AS_OF, log=LOG)


@pytest.fixture(scope="module")
def letter(season: SeasonDay) -> Letter:
    """The letter to the grower with five fields."""
    return letter_of(season, "Grower B")


def news(letter: Letter) -> dict[str, FieldNews]:
    """What it says by the id of the field."""
    return {one.field.partition(" ")[0]: one for one in letter.fields}


def with_log(folder: Path, log: ScoutingLog, as_of: dt.date = AS_OF) -> dict[str, FieldNews]:
    """The news of Grower B's fields with another log."""
    return news(letter_of(SeasonDay.open(folder, as_of=as_of, log=log), "Grower B"))


def spoken(letter: Letter) -> tuple[str, str]:
    """All that is read on the page, and the text for a message."""
    return body_text(letter_html(letter), tables=True), letter_text(letter)


# --- whose fields ---------------------------------------------------------------------------


def test_every_field_of_a_grower_is_in_one_letter(season: SeasonDay) -> None:
    """Proves that no field is forgotten or told to another grower, those without a date neither."""
    letters = letters_of(season)
    assert [one.grower for one in letters] == ["Grower A", "grower b", "Grower E"]
    told = [one.field.split()[0] for each in letters for one in (*each.fields, *each.without)]
    folder = season.read.season
    wanted = {one.field_id for one in (*folder.fields, *folder.undated) if one.grower}
    assert sorted(told) == sorted(wanted)
    for each in letters:
        for text in spoken(each):
            for one in (*each.fields, *each.without):
                assert one.field in text


@pytest.mark.parametrize("asked", ["Grower B", "GROWER B", " grower   b "])
def test_a_grower_is_found_however_the_name_is_written(asked: str, season: SeasonDay) -> None:
    """Proves that capitals and blanks make no other grower."""
    assert letter_of(season, asked) == letter_of(season, "grower b")


def test_an_unknown_grower_is_told_who_there_is(season: SeasonDay) -> None:
    """Proves that a slip of the name is answered with the names."""
    with pytest.raises(SeasonProblems) as told:
        letter_of(season, "Grower Q")
    (problem,) = told.value.problems
    assert (problem.file, problem.found) == ("GROWER", "Grower Q")
    assert problem.accepted == "Grower A, grower b, Grower E"


# --- when we come ---------------------------------------------------------------------------


@pytest.mark.parametrize("as_of", [day(5, 28), AS_OF, day(8, 25), day(10, 10)])
def test_each_field_has_the_one_date_of_the_route(as_of: dt.date, folder: Path) -> None:
    """Proves that page and text promise the day on which the route walks the field, or none."""
    season = SeasonDay.open(folder, as_of=as_of, log=LOG)
    for letter in letters_of(season):
        text = letter_text(letter).splitlines()
        page = dict(letter.visits)
        for field_id, one in news(letter).items():
            found = season.find(field_id)
            assert found is not None
            assert one.day == walk_of(found).day
            (line,) = [after for line, after in pairwise(text)
                       if line.startswith(f"{one.field},")]  # fmt: skip
            assert one.field in page[one.when_short].split(", ")
            if one.day is not None:
                shown = "today" if one.day == as_of else short_day(one.day)
                assert f"Next visit {one.when_short}." in line
                assert one.when_short.endswith(shown)
                said = {plain_day(one.day)} | ({"today"} if one.day == as_of else set())
                assert any(word in sentence for sentence in one.when for word in said)


def test_visits_are_listed_by_date(letter: Letter) -> None:
    """Proves that the list begins with the next visit, and what has no date comes last."""
    days = {one.when_short: one.day or dt.date.max for one in letter.fields}
    listed = [days[when] for when, _ in letter.visits]
    assert listed == sorted(listed)
    assert len(listed) > 1


# --- who may enter --------------------------------------------------------------------------


def test_a_closed_field_says_so_and_until_when(letter: Letter) -> None:
    """Proves that restricted entry and blocked times stand on page and text, at top and field."""
    held = "Do not enter this field until Wednesday, July 8, 4:00 pm. An invented product was"
    blocked = "Do not enter today 12:00 to 16:00 (blocked: a wedding)."
    drain = "Do not enter up to 8 Jul (blocked: a drain)."
    assert letter.closed == ("F04 Gin Lot", "F06 Ridge Top", "F90 Not Yet")
    page, text = spoken(letter)
    for told in (held, blocked, drain):
        assert told in page
        assert told in text
    first = page.partition("When we come")[0]
    assert all(name in first for name in letter.closed)
    for line in text.splitlines():
        assert ("CLOSED: " in line) == line.startswith(letter.closed), line


def test_closed_times_ahead_are_named(folder: Path, letter: Letter) -> None:
    """Proves that what begins after the day is told too: a grower's own, and a treatment noted."""
    fence = "Do not enter from July 10 to July 11 (fence & ditch)."
    assert news(letter)["F07"].closing == (fence,)
    assert all(fence in text for text in spoken(letter))
    ahead = treatment(at(7, 9, 8), 24, field_id="F05", product="an invented product")
    (told,) = with_log(folder, log_of(ahead))["F05"].closing
    assert told == (
        "An invented product is noted for July 9: do not enter from then until Friday, July 10, "
        "8:00 am; its label sets the time."
    )


def test_a_field_without_a_forecast_may_be_closed(tmp_path: Path) -> None:
    """Proves that restricted entry is told of a field for which no station can speak."""
    fields = [FieldLine(), FieldLine("F2", station="S9")]
    made = build_season(tmp_path, fields=fields)
    lines = (made / "fields.csv").read_text("utf-8").splitlines()
    named = [lines[0], *(line.replace(",", ",Kim", 1) if not line.split(",")[1] else line
                         for line in lines[1:])]  # fmt: skip
    (made / "fields.csv").write_text("\n".join([*named, ""]), "utf-8")
    held = treatment(at(7, 6, 16), 48, field_id="F2")
    season = SeasonDay.open(made, as_of=AS_OF, log=log_of(held))
    (letter,) = letters_of(season)
    (without,) = letter.without
    assert without.field.startswith("F2")
    assert "until Wednesday, July 8, 4:00 pm" in str(without.closed)
    assert all("until Wednesday, July 8, 4:00 pm" in text for text in spoken(letter))


# --- found and decided ----------------------------------------------------------------------


def test_a_count_above_waits_for_a_decision(letter: Letter) -> None:
    """Proves that 78 stink bugs in four sets, 19.5 a set against 9, are put first."""
    one = news(letter)["F05"]
    assert letter.waiting == ("F05 Two Silos",)
    assert len(one.waits) == 1
    (line,) = one.to_decide
    assert (line.pest, line.number.words, line.note) == (
        "stink bugs",
        "19.5 of 9 per 25 sweeps, above",
        "Jul 6",
    )
    assert one.waits[0].startswith("stink bugs 19.5 of 9 per 25 sweeps (")
    assert one.waits[0].endswith("above (Jul 6)")
    assert "stink bugs at 19.5 per 25 sweeps (threshold 9)" in one.found
    page, text = spoken(letter)
    assert page.index("To decide with us: F05 Two Silos") < page.index("When we come")
    assert text.splitlines()[1].startswith("F05 Two Silos, R")
    assert "TO DECIDE WITH US: stink bugs 19.5 of 9" in text.splitlines()[1]
    heads = re.findall(r'<h2 id="field-\d+"><bdi>(\w+)', letter_html(letter))
    assert heads[0] == "F05"
    assert sorted(heads) == sorted(one.field.split()[0] for one in letter.fields)
    for told in (page, text):
        assert "A threshold passed is a reason to talk, never just to spray." in told


def test_after_a_treatment_nothing_waits(folder: Path) -> None:
    """Proves that a treatment of the log is the decision, with its harvest time by its label."""
    sprayed = replace(
        treatment(at(7, 6, 16), 4, field_id="F05", product="an invented product"),
        preharvest_days=21.0,
    )
    one = with_log(folder, log_of(COUNTED, sprayed))["F05"]
    assert one.waits == ()
    assert one.decided == (
        "Treated July 6 (an invented product).",
        "No harvest before July 27, by its label as we noted it.",
    )
    assert "day of the treatment" in one.found
    assert len(one.counts) == 1
    assert one.counts[0].number.words == "19.5 of 9 per 25 sweeps, above"
    assert "day of the treatment" in one.counts[0].note
    later = with_log(folder, log_of(COUNTED, sprayed), day(7, 28))["F05"]
    assert later.decided == ("Treated July 6 (an invented product).",)
    assert with_log(folder, log_of(COUNTED, sprayed), day(7, 5))["F05"].decided == ()


def test_the_last_treatment_comes_first_and_old_ones_are_counted(folder: Path) -> None:
    """Proves that five treatments stay short and none is left unsaid."""
    applied = [treatment(at(6, number, 8), 4, field_id="F05") for number in range(1, 6)]
    told = with_log(folder, log_of(*applied))["F05"].decided
    days = [f"Treated June {number} (Product A)." for number in (5, 4, 3)]
    assert told == (*days, "2 more before.")


def test_counts_stand_beside_their_thresholds(folder: Path) -> None:
    """Proves that of many pests the nearest to their thresholds are told, and how many more."""
    pests = {"stink-bugs": 4, "corn-earworm": 1, "green-cloverworm": 3, "bean-leaf-beetle": 2,
             "kudzu-bug": 1, "soybean-looper": 0}  # fmt: skip
    sets = tuple(
        LoggedSet(i, 25.0, "sweeps", tuple(LoggedCount(pest, "", n) for pest, n in pests.items()))
        for i in range(1, 5)
    )
    seen = visit(day(7, 6), sets, field_id="F05", stage="R3")
    season = SeasonDay.open(folder, as_of=AS_OF, log=log_of(seen))
    letter = letter_of(season, "Grower B")
    told = news(letter)["F05"].counts
    assert [one.pest for one in told[:2]] == ["stink bugs", "corn earworm"]
    assert re.fullmatch("4 of 9 per 25 sweeps, (near|below)", told[0].number.words)
    assert told[1].number.words.startswith("1 of ")
    assert f"stink bugs {told[0].number.words}" in body_text(letter_html(letter), tables=True)
    there = [row for row in found_in(season.field("F05")).rows if row.seen]
    assert len(there) >= 5
    assert (len(told), news(letter)["F05"].more_counts) == (3, len(there) - 3)


def test_pests_timed_from_memory_are_not_announced(season: SeasonDay) -> None:
    """Proves that no pest is said to come soon by a heat model that nobody looked up."""
    soon = 0
    for letter in letters_of(season):
        for field_id, one in news(letter).items():
            field = season.find(field_id)
            assert field is not None
            memory = {str(w.pest) for w in field.windows if w.unverified and w.pest}
            told = " ".join(text for text in one.pests if text.startswith("Soon"))
            soon += bool(told)
            for pest in memory:
                assert season.knowledge.pests[pest].name not in told
    assert soon


# --- how it reads ---------------------------------------------------------------------------


def test_the_text_of_five_fields_is_short(season: SeasonDay, letter: Letter) -> None:
    """Proves that five fields fit in 15 lines whatever is said of each, with who to call."""
    five = replace(letter, without=())
    assert len(five.fields) == 5
    lines = letter_text(five).splitlines()
    assert len(lines) <= 15
    assert lines[-1] == "Consultant A, +1 555 0100 x12"
    worst = replace(five, fields=(news(letter)["F05"],) * 3 + (news(letter)["F06"],) * 2)
    assert len(letter_text(worst).splitlines()) == len(lines)


def test_the_letter_reads_like_a_newspaper(season: SeasonDay) -> None:
    """Proves that its sentences ask for no more than nine years of school."""
    for letter in letters_of(season):
        for one in letter.fields:
            told = (one.found, *one.decided, one.next_stage, *one.pests, *one.when)
            assert grade(" ".join(told)) <= 9.0, told


def test_cautions_and_unverified_values_are_said(season: SeasonDay) -> None:
    """Proves that the label, whom to ask and what is from memory stand on every letter."""
    for letter in letters_of(season):
        for told in spoken(letter):
            assert "The product label is the law." in told
            assert "Ask us, your county extension office, or a licensed adviser." in told
        page, _ = spoken(letter)
        assert "Drought, hail, disease and replanting: not in our forecast." in page
        assert "From memory, unverified: some numbers behind the stage dates." in page


def test_the_consultant_stands_on_all_pages_for_growers(season: SeasonDay, letter: Letter) -> None:
    """Proves that brief, letter and text name whom to call, and that a tap dials no extension."""
    pages = [brief_html(brief_of(season.fields[0])), letter_html(letter)]
    for page in pages:
        assert "From Consultant A, +1 555 0100 x12" in body_text(page, tables=True)
        assert 'href="tel:+15550100"' in page


def test_without_a_consultant_nobody_is_named(season: SeasonDay, letter: Letter) -> None:
    """Proves that a season that says nothing of it has no empty line."""
    nobody = ConsultantSettings()
    alone = replace(letter, consultant=nobody, without=())
    assert "tel:" not in letter_html(alone)
    brief = replace(brief_of(season.fields[0]), consultant=nobody)
    assert "tel:" not in brief_html(brief)
    assert letter_text(alone).endswith("licensed adviser.\n")


def test_what_people_typed_is_shown_as_text(folder: Path, tmp_path: Path) -> None:
    """Proves that names, reasons and products are escaped, and what turns text is made visible."""
    made = tmp_path / "season"
    shutil.copytree(folder, made)
    quoted = '"' + HOSTILE.replace('"', '""').replace("\u202e\u0007", "") + '"'
    for file, plain in (("fields.csv", "Ridge Top"), ("blocked.csv", "a wedding")):
        text = (made / file).read_text("utf-8")
        (made / file).write_text(text.replace(plain, quoted), "utf-8")
    log = log_of(COUNTED, treatment(at(7, 6, 16), 48, field_id="F06", product=HOSTILE))
    season = SeasonDay.open(made, as_of=AS_OF, log=log)
    letter = letter_of(season, "Grower B")
    page, text = letter_html(letter), letter_text(letter)
    assert "<script" not in page
    assert page.count("&lt;script&gt;x()&lt;/script&gt;") >= 3
    for told in (page, text):
        assert "\u202e" not in told
        assert "\u0007" not in told
    assert not re.search(r"https?:|<script|<link|<img|@import|url\(|\son[a-z]+=", page)


# --- files and commands ---------------------------------------------------------------------

NAMES = st.text(min_size=1, max_size=60) | st.sampled_from(["..", "a/b", "A\\B", "CON", "Smith."])


@given(st.lists(NAMES, min_size=2, max_size=6, unique_by=lambda n: " ".join(n.casefold().split())))
def test_names_of_files_are_safe_and_never_meet(growers: Sequence[str]) -> None:
    """Proves that any names give plain file names, apart on every file system."""
    names = [letter_name(grower, "html") for grower in growers]
    assert len({name.casefold() for name in names}) == len(growers)
    for name in names:
        assert re.fullmatch(r"letter-[a-z0-9_-]+\.html", name)


def test_a_plain_name_is_the_file(folder: Path) -> None:
    """Proves that a person finds the letter, and that capitals make no second one."""
    assert letter_name("Grower A", "html") == "letter-grower-a.html"
    assert letter_name("GROWER  a", "pdf") == "letter-grower-a.pdf"


def test_all_letters_are_written_and_twice_alike(folder: Path, tmp_path: Path) -> None:
    """Proves that every grower gets a file, the same bytes each time, and who gets none is said."""
    out = tmp_path / "letters"
    ask = ("letter", folder, "--all", "-o", out, "--as-of", "2026-07-07")
    ran = run_command(*ask)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out == (
        f"3 letters as of Tue 7 Jul 2026: {out}\nin no letter, since they name no grower: F91\n"
    )
    first = {path.name: path.read_bytes() for path in out.iterdir()}
    assert set(first) == {f"letter-grower-{one}.html" for one in "abe"}
    assert run_command(*ask).code == 0
    assert {path.name: path.read_bytes() for path in out.iterdir()} == first


def test_one_letter_is_written_or_printed(folder: Path, tmp_path: Path) -> None:
    """Proves that page and text are those of the library, and that both may be had at once."""
    letter = letter_of(SeasonDay.open(folder, as_of=AS_OF), "Grower B")
    page = tmp_path / "b.html"
    ask = ("letter", folder, "grower b", "--as-of", "2026-07-07")
    ran = run_command(*ask, "-o", page)
    assert ran.out == f"letter to grower b as of Tue 7 Jul 2026: {page}\n"
    assert page.read_text("utf-8") == letter_html(letter)
    assert run_command(*ask, "--text").out == letter_text(letter)
    page.unlink()
    assert run_command(*ask, "--text", "-o", page).out == letter_text(letter)
    assert page.read_text("utf-8") == letter_html(letter)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("Grower Q", "--text"), "no field in fields.csv has this grower"),
        ((), "which grower is not said"),
        (("Grower A", "--all"), "a grower and --all do not go together"),
        (("Grower A",), "where the page goes is not said"),
        (("Grower A", "--text", "--pdf"), "where the page goes is not said"),
        (("--all",), "where the page goes is not said"),
        (("--all", "--text"), "a text is of one grower"),
    ],
)
def test_what_cannot_be_written_is_said(
    arguments: tuple[str, ...], said: str, folder: Path
) -> None:
    """Proves that a question without an answer is one sentence."""
    ran = run_command("letter", folder, *arguments)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert ran.err.count("\n") == 1


def test_letters_are_written_all_or_none(season: SeasonDay, tmp_path: Path) -> None:
    """Proves that a person's own page in the folder stops all, and stays."""
    mine = tmp_path / "letter-grower-e.html"
    mine.write_text("<!doctype html><p>my own", "utf-8")
    with pytest.raises(SeasonProblems, match=re.escape(str(mine))):
        save_letters(tmp_path, letters_of(season))
    assert list(tmp_path.iterdir()) == [mine]
    assert mine.read_text("utf-8") == "<!doctype html><p>my own"


def test_a_refused_field_stops_no_letter(tmp_path: Path) -> None:
    """Proves that what is wrong with a field is said at the end, and its grower gets a letter."""
    made = build_season(tmp_path / "season", fields=[FieldLine(), FieldLine("F2", station="S9")])
    out = tmp_path / "letters"
    ran = run_command("letter", made, "--all", "-o", out, "--as-of", "2026-07-07")
    assert ran.code == 2
    assert "there is no such station" in ran.err
    told = " ".join(path.read_text("utf-8") for path in out.iterdir())
    assert "We have no forecast today." in told
