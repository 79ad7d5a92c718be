"""The field sheet in a real browser: counts, keeps, judges and sends as the desk would."""

from __future__ import annotations

import datetime as dt
import random
import re
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args
from xml.etree import ElementTree

import pytest
from browser import FLAGS, PHONE, OpenPage, axe_violations, chromium, open_page
from changed import changed
from sheet_page import (
    KEPT,
    KEPT_HERE,
    count_number,
    done,
    go,
    imported,
    log_of,
    reload,
    saved_file,
    season_copy,
    sent_text,
    sheet,
    tap,
)
from week_builder import HOSTILE, MONDAY, build_week, field_ids, season_of

from stagecast.base.cells import cell_of
from stagecast.counts.assess import assess, stage_of_visit
from stagecast.counts.assessment import Answer, PestAssessment
from stagecast.counts.stand import assess_stand
from stagecast.counts.tally import TallySays
from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.crop import STAGE_ORDER
from stagecast.knowledge.units import SampleUnit
from stagecast.pages.number_line import NumberLine, line_picture, mark_of
from stagecast.pages.phone.sheet import sheet_data, sheet_html
from stagecast.pests.thresholds import FieldFacts
from stagecast.season.log.entries import (
    LOG_FILE,
    LoggedCount,
    LoggedSet,
    LoggedStand,
    LoggedVisit,
    ScoutingLog,
    StandPlace,
)
from stagecast.season.log.stands import parse_stand
from stagecast.season.log.store import LogStore
from stagecast.season.log.table import write_log_csv
from stagecast.words.counts import (
    against_text,
    leaf_loss_text,
    notes_text,
    tally_text,
    why_text,
)

__all__ = ["chromium", "open_page"]
pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("rules_once")]

KNOWLEDGE = load()
LIVES = ("", "", "", "adults", "nymphs", "large larvae", "small larvae", "eggs")
UNITS: tuple[tuple[SampleUnit, tuple[float, ...]], ...] = (
    ("sweeps", (25.0, 25.0, 25.0, 10.0, 100.0)),
    ("row-feet", (1.0, 3.0)),
    ("plants", (10.0,)),
    ("rating", (1.0,)),
)


# --- the same mathematics ----------------------------------------------------------------------


def random_visit(draw: random.Random, pests: Sequence[str], field_id: str) -> LoggedVisit:
    """A visit of one to eight sets, now and then of many, of pests that clump."""
    stage = draw.choice([None, *STAGE_ORDER[1:], "V7"])
    share = draw.choice([None, 0.2, 0.5, 0.9]) if stage else None
    named = draw.sample(pests, draw.randint(1, 4))
    of, sizes = draw.choice(UNITS[:1] * 3 + UNITS)
    number = draw.choice([1, 2, 3, 4, 6, 8, 20])
    mean = draw.choice([0.0, 0.3, 2.0, 7.0, 12.0, 60.0, 400.0])
    mixed = draw.random() < 0.3
    sets = []
    for i in range(number):
        counts: dict[tuple[str, str], LoggedCount] = {}
        for pest in named:
            for life in draw.sample(LIVES, draw.choice([1, 1, 1, 2])):
                count = float(round(draw.gammavariate(1.0, mean)) if mean else 0)
                counts[pest, life] = LoggedCount(pest, life, count)
            if draw.random() < 0.1:
                break
        size = draw.choice(sizes) if mixed else sizes[0]
        sets.append(LoggedSet(i + 1, size, of, tuple(counts.values())))
    percent = draw.choice([None, 0.0, 14.5, 20.0, 33.0])
    return LoggedVisit(
        f"v{draw.random()}", field_id, MONDAY, stage=stage, share=share, sets=tuple(sets),
        defoliation_percent=percent,
    )  # fmt: skip


def aphid_visit(draw: random.Random, field_id: str, share: float) -> LoggedVisit:
    """Aphids on single plants, of which some share is infested by the plan."""
    numbers = [draw.randint(*((40, 60) if draw.random() < share else (0, 39))) for _ in range(12)]
    sets = [
        LoggedSet(i, 1.0, "plants", (LoggedCount("soybean-aphid", "", float(number)),))
        for i, number in enumerate(numbers, start=1)
    ]
    return LoggedVisit(f"a{draw.random()}", field_id, MONDAY, stage="R2", sets=tuple(sets))


def told(visit: LoggedVisit) -> dict[str, Any]:
    """A visit as the page keeps it."""
    return {
        "stage": visit.stage or "",
        "share": None if visit.share is None else 100 * visit.share,
        "defoliation": visit.defoliation_percent,
        "sets": [
            {
                "size": one.size,
                "of": one.unit,
                "counts": [
                    {"pest": c.pest, "life": c.life_stage, "n": c.number} for c in one.counts
                ],
            }
            for one in visit.sets
        ],
    }


def ours(one: PestAssessment) -> dict[str, Any]:
    """What the desk says of a line, in the page's names."""
    return {
        "pest": one.pest,
        "parts": [list(part) for part in one.parts],
        "size": one.set_size,
        "sets": one.sets,
        "mean": one.mean_per_set,
        "low": one.low,
        "high": one.high,
        "chance": one.p_above,
        "threshold": one.threshold_per_set,
        "answer": one.answer,
        "missing": None if one.sampled is None else one.sampled.missing,
        "settles": one.settles,
        "tally": None if one.tally is None else tally_text(one.tally),
        "against": against_text(one),
        "why": why_text(one),
        "notes": list(notes_text(one, KNOWLEDGE)),
    }


def close(one: Any, other: Any) -> bool:
    """Equal, numbers to a billionth of themselves."""
    if isinstance(one, dict):
        return all(close(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(close, one, other))
    if isinstance(one, float) and isinstance(other, (int, float)):
        return one == pytest.approx(other, rel=1e-9, abs=1e-12)
    return bool(one == other)


def with_known_k(knowledge: Knowledge) -> Knowledge:
    """Knowledge in which some pests have a published k, as none that ships does."""
    k = knowledge.decisions.counting.k_usual.model_copy(update={"value": 0.7, "tag": "READ"})
    pests = {
        name: pest.model_copy(update={"aggregation": k}) if i % 3 == 0 else pest
        for i, (name, pest) in enumerate(knowledge.pests.items())
    }
    return knowledge.model_copy(update={"pests": pests})


@pytest.mark.parametrize("known_k", [False, True], ids=["the usual k", "some k published"])
def test_the_phone_judges_as_assess_does(open_page: OpenPage, demo: Path, known_k: bool) -> None:
    """Many random visits get the means, ranges, chances, answers and words that assess gives."""
    season = season_of(demo)
    knowledge = season.loaded.knowledge
    if known_k:
        knowledge = with_known_k(knowledge)
        folder = replace(season.loaded.season, knowledge=knowledge)
        season = changed(season, loaded=replace(season.loaded, season=folder))
    ids = field_ids(season)[:4]
    route = build_week(season, {(MONDAY, "Ann"): ids[:2]})  # the others are added on the phone
    page = open_page(sheet_html(route, route.days[0]), size=PHONE).page
    draw = random.Random(20260706 + known_k)
    region = season.loaded.season.settings.region
    forecasts = {plan.forecast.field.field_id: plan.forecast for plan in season.fields}
    pests = sorted(knowledge.pests)
    visits = [random_visit(draw, pests, draw.choice(ids)) for _ in range(80)]
    visits += [aphid_visit(draw, ids[0], share) for share in (0.0, 0.4, 0.8, 0.9, 1.0, 1.0)]
    asked = [[v.field_id, told(v)] for v in visits]
    found = page.evaluate(
        """asked => {
          const data = JSON.parse(document.getElementById('data').textContent);
          const book = { data, stops: new Map(data.stops.map((stop) => [stop.field_id, stop])) };
          return asked.map(([field, visit]) => {
            const stop = book.stops.get(field) || addStop(book, field);
            return judgeVisit(visit, visit.sets, stop, data.rules);
          });
        }""",
        asked,
    )
    answers, tallies = set(), set()
    for visit, phone in zip(visits, found, strict=True):
        stage = stage_of_visit(visit, season.loaded.season.visits, forecasts[visit.field_id])
        assert stage is not None
        assert (phone["stage"], phone["seen"]) == stage
        desk = assess(
            visit,
            stage=stage[0],
            stage_seen=stage[1],
            region=region,
            knowledge=knowledge,
            facts=FieldFacts.of(forecasts[visit.field_id].field),
        )
        for mine, theirs in ((desk.pests, phone["pests"]), (desk.otherwise, phone["otherwise"])):
            assert len(mine) == len(theirs)
            for one, other in zip(mine, theirs, strict=True):
                said = ours(one)
                assert {k: (v, other[k]) for k, v in said.items() if not close(v, other[k])} == {}
                answers.add(one.answer)
                tallies.add(one.tally and one.tally.says)
        leaf = desk.defoliation
        assert (leaf is None) == (phone["leaf"] is None)
        if leaf is not None:
            leaf_told = phone["leaf"]["answer"], phone["leaf"]["why"]
            assert (leaf.answer, leaf_loss_text(leaf)) == leaf_told
            others = [answer for _, answer in leaf.otherwise]
            assert others == [one["answer"] for one in phone["leaf"]["otherwise"]]
    assert answers == set(get_args(Answer))  # every answer came up
    assert tallies == {None, *get_args(TallySays)}


def drawn(picture: str) -> list[tuple[str, dict[str, str], str]]:
    """The elements of a drawing in order: tag, attributes, text."""
    plain = re.sub(r' xmlns="[^"]*"', "", picture)
    return [(e.tag, dict(e.attrib), e.text or "") for e in ElementTree.fromstring(plain).iter()]


def test_the_phone_draws_the_line_that_pages_draw(open_page: OpenPage, demo: Path) -> None:
    """Means, ranges and thresholds from nothing to millions, or none: element by element."""
    page = open_page(sheet(demo), size=PHONE).page
    draw = random.Random(20260706)
    answers = ("below", "near", "above", "too few", "no threshold")
    lines: list[dict[str, Any]] = [
        {"mean": mean, "threshold": limit, "low": low, "high": high, "answer": answer}
        for mean, limit, low, high, answer in (
            (0.0, None, 0.0, 0.4, "no threshold"), (0.0, 0.0, None, None, "above"),
            (0.05, 0.0025, 0.01, 0.2, "above"), (250.0, 250.0, 200.0, 300.0, "near"),
            (1e6, 3.0, 9e5, 2e6, "above"), (4.0, 9.0, 2.5, 7.25, "below"),
        )
    ]  # fmt: skip
    for _ in range(200):
        mean = round(draw.choice([0.1, 1, 10, 1000]) * draw.random(), 3)
        low, high = sorted(mean * draw.uniform(0.2, 3) for _ in range(2))
        limit = draw.choice([None, 9.0, 37.5, 0.125, mean or 1.0, 1000.0])
        ranged = draw.random() < 0.8
        lines.append({
            "mean": mean, "threshold": limit, "low": low if ranged else None,
            "high": high if ranged else None, "answer": draw.choice(answers),
        })  # fmt: skip
    found = page.evaluate("lines => lines.map((line) => numberLine(line).outerHTML)", lines)
    for one, phone in zip(lines, found, strict=True):
        mark = mark_of(one["answer"])
        ours = NumberLine(one["mean"], "", mark, one["threshold"], one["low"], one["high"])
        assert drawn(phone) == drawn(str(line_picture(ours)))


def test_the_phone_writes_a_cell_as_files_do(open_page: OpenPage, demo: Path) -> None:
    """What a spreadsheet could run, split or cut is kept from it alike; the log reads it back."""
    page = open_page(sheet(demo), size=PHONE).page
    draw = random.Random(20260707)
    letters = "=+-@'\uff1d\uff0b\uff0d\uff20,;\t\r\n\"1.eEa \u00e9"
    texts = ["".join(draw.choices(letters, k=draw.randint(0, 6))).strip() for _ in range(2000)]
    found = page.evaluate("texts => texts.map(quoted)", texts)
    assert found == [cell_of(text) for text in texts]


# --- a whole day, offline ----------------------------------------------------------------------


def test_a_whole_day_offline_comes_into_the_log_as_it_was_tapped(
    demo: Path, tmp_path: Path, chromium: Any
) -> None:
    """Counts, zeros, stage, leaf loss and notes survive a reload and a closed browser."""
    folder = season_copy(demo, tmp_path)
    file = tmp_path / "sheet.html"
    file.write_text(sheet(demo), encoding="utf-8")
    program = chromium.browser_type
    phone = {"viewport": {"width": 360, "height": 740}, "offline": True}
    profile = tmp_path / "profile"
    options: dict[str, Any] = {
        "executable_path": shutil.which("chromium") or program.executable_path,
        "args": list(FLAGS), **phone,
    }  # fmt: skip
    ids = field_ids(season_of(demo))[:3]
    first, second = (build_pests(demo, stop) for stop in (0, 1))
    with program.launch_persistent_context(str(profile), **options) as context:
        page = context.pages[0]
        page.goto(file.as_uri())
        go(page, 1)
        tap(page, "#count-0-plus", 5)
        page.click("#count-0-less")
        page.click("#count-1-less")  # none found
        page.click("#set-part")  # the third was not looked for
        page.fill("#count-0-typed", "12")
        page.reload()  # in the middle of a set
        assert count_number(page, 0) == "12"
        page.click("#set-done")  # none of the rest
        page.click("#stage-other")
        page.check("#stage-R3")
        page.fill("#share", "60")
        page.fill("#defoliation", "12,5")
        page.fill("#notes", '=wet, "low" corner\nsecond line')
        go(page, 2)
        page.click("#count-0-plus")
    with program.launch_persistent_context(str(profile), **options) as context:
        page = context.pages[0]  # the same phone, later
        page.goto(file.as_uri())
        go(page, 2)
        assert count_number(page, 0) == "1"
        page.click("#undo")
        assert count_number(page, 0) == "\u2013"
        tap(page, "#count-0-plus", 2)
        out = imported(folder, saved_file(page))
    assert "2 visits and 0 treatments logged" in out
    one, two = sorted(
        (v for v in log_of(folder) if v.visit_id.startswith("p")), key=lambda v: v.field_id
    )
    assert first[2] == "kudzu-bug"  # its threshold counts nymphs, so it is counted by age
    zeros = (
        LoggedCount(first[1], "", 0.0), LoggedCount("kudzu-bug", "nymphs", 0.0),
        LoggedCount("kudzu-bug", "adults", 0.0),
    )  # fmt: skip
    assert replace(one, visit_id="") == LoggedVisit(
        "", ids[0], MONDAY, who="Ann", stage="R3", share=0.6, defoliation_percent=12.5,
        method=one.method, notes='=wet, "low" corner\nsecond line',
        sets=(
            LoggedSet(1, one.sets[0].size, one.sets[0].unit, (
                LoggedCount(first[0], "", 4.0), LoggedCount(first[1], "", 0.0),
            )),
            LoggedSet(2, one.sets[0].size, one.sets[0].unit, (
                LoggedCount(first[0], "", 12.0), *zeros,
            )),
        ),
    )  # fmt: skip
    assert (two.field_id, two.stage, two.who) == (ids[1], None, "Ann")
    assert [s.counts for s in two.sets] == [(LoggedCount(second[0], "", 2.0),)]


def test_taps_note_when_one_came_and_left_and_can_be_corrected(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """The first tap is the coming, a set that is done the leaving; what is typed stands over both.

    On another day than that of the sheet the phone's clock says nothing, and no time is noted.
    """
    folder = season_copy(demo, tmp_path)
    page = open_page(sheet(demo), size=PHONE).page

    def clock(day: int, hour: int, minute: int) -> None:
        page.clock.set_fixed_time(dt.datetime(2026, 7, day, hour, minute))

    clock(6, 8, 5)
    go(page, 1)
    page.click("#count-0-plus")
    clock(6, 8, 20)
    page.click("#set-done")
    clock(6, 8, 33)
    page.click("#count-0-plus")
    page.click("#set-done")
    assert (page.input_value("#arrived"), page.input_value("#left")) == ("08:05", "08:33")
    go(page, 2)
    clock(6, 9, 1)
    page.click("#count-0-plus")
    page.click("#undo")  # a slip: nobody came yet
    assert page.input_value("#arrived") == ""
    clock(6, 9, 10)
    page.click("#count-0-plus")
    clock(6, 9, 40)
    page.click("#set-done")
    page.fill("#arrived", "09:02")
    page.fill("#left", "08:00")
    assert page.inner_text("#times-wrong") == "Left before you came: this end is not sent."
    page.fill("#left", "09:45")
    assert page.inner_text("#times-wrong") == ""
    go(page, 3)
    clock(7, 7, 0)
    page.click("#count-0-plus")
    page.click("#set-done")
    reload(page)
    imported(folder, sent_text(page))
    found = {v.field_id: (v.arrived, v.left) for v in log_of(folder) if v.visit_id.startswith("p")}
    one, two, three = field_ids(season_of(demo))[:3]
    assert found[one] == (dt.time(8, 5), dt.time(8, 33))
    assert found[two] == (dt.time(9, 2), dt.time(9, 45))
    assert found[three] == (None, None)


def build_pests(demo: Path, stop: int) -> list[str]:
    """The pests with a button at a stop."""
    season = season_of(demo)
    route = build_week(season, {(MONDAY, "Ann"): field_ids(season)[:3]})
    pests = sheet_data(route.days[0], season.loaded)["stops"][stop]["pests"]
    assert isinstance(pests, list)
    return pests


def test_what_was_sent_is_frozen_and_what_follows_corrects_it(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """Import twice, tap on, import again, in any order: the log ends with what was tapped last."""
    folder = season_copy(demo, tmp_path)
    before = len(log_of(folder))
    page = open_page(sheet(demo), size=PHONE).page
    go(page, 1)
    tap(page, "#count-0-plus", 3)
    early = sent_text(page)
    assert sent_text(page) == early
    assert "1 visit and 0 treatments logged" in imported(folder, early)
    assert "0 visits and 0 treatments logged, 1 in the log" in imported(folder, early)
    go(page, 1)
    tap(page, "#count-0-plus", 2)
    reload(page)
    late = sent_text(page)
    go(page, 1)
    page.fill("#stand", "thin")
    go(page, 2)
    page.click("#count-0-less")
    last = sent_text(page)
    assert "3 visits and 0 treatments logged, 1 in the log" in imported(folder, last)
    imported(folder, late)
    imported(folder, early)
    assert len(log_of(folder)) - before == 4
    phone = [v for v in LogStore(folder / LOG_FILE).read().visits if v.visit_id.startswith("p")]
    stands = {v.field_id: v for v in phone}
    ids = field_ids(season_of(demo))
    assert len(phone) == len(stands) == 2
    assert stands[ids[0]].stand_notes == "thin"
    assert [c.number for c in stands[ids[0]].sets[0].counts] == [5.0]
    assert [c.number for c in stands[ids[1]].sets[0].counts] == [0.0]
    fresh = season_copy(demo, tmp_path / "other")
    imported(fresh, last)  # the first file of the day was lost: the last one says it all
    assert len(log_of(fresh)) - before == 4


def test_the_table_is_the_one_that_the_log_itself_writes(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """What the phone sends is, byte for byte, what an export of these visits would be."""
    folder = season_copy(demo, tmp_path)
    page = open_page(sheet(demo), size=PHONE).page
    go(page, 1)
    tap(page, "#count-0-plus", 2)
    page.fill("#notes", 'a "quoted", word\nand a line')
    page.click("#set-done")
    page.click("#more-said")
    page.select_option("#more-pest", "corn-earworm")
    page.select_option("#more-life", "large larvae")
    page.click("#more-add")
    go(page, 2)
    page.click("#count-0-plus")
    page.click("#undo")  # nothing is left of this visit, so it is not sent
    go(page, 3)
    page.fill("#stand", "@thin")
    text = sent_text(page)
    imported(folder, text)
    logged = tuple(v for v in log_of(folder) if v.visit_id.startswith("p"))
    assert write_log_csv(ScoutingLog(logged)) == text
    assert logged[0].sets[1].counts == (LoggedCount("corn-earworm", "large larvae", 0.0),)


# --- what people type, and what phones do ------------------------------------------------------


def test_hostile_names_and_notes_do_nothing(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """Names and notes of every kind stay text: no script, no request, no sideways scroll."""
    folder = season_copy(demo, tmp_path)
    names = [name for name in HOSTILE.values() if not any("\ud800" <= c <= "\udfff" for c in name)]
    opened = open_page(sheet(demo, stops=11, names=tuple(names)), size=PHONE)
    page = opened.page
    noted = {}
    for stop, name in enumerate(HOSTILE.values(), 1):
        if stop > 11 or not name:
            continue
        go(page, stop)
        page.fill("#notes", name)
        assert opened.sideways == 0
        noted[field_ids(season_of(demo))[stop - 1]] = page.input_value("#notes").strip()
    go(page, 1)
    page.fill("#method", '=cmd("x")')
    page.fill("#stand", "+1-1@a")
    page.click("#count-0-plus")
    page.click("#bar >> text=Stops")
    page.fill("#who", '<img src=x onerror="alert(1)">')
    table = sent_text(page)
    imported(folder, table)
    stands = LogStore(folder / LOG_FILE).read().visits
    kept = {v.field_id: v.notes for v in stands if v.visit_id.startswith("p")}
    assert kept == noted
    assert any(v.method == '=cmd("x")' and v.stand_notes == "+1-1@a" for v in stands)
    assert opened.sideways == 0
    assert opened.complaints == []
    assert opened.requests == []


REFUSED = {
    "getter": "Object.defineProperty(window, 'localStorage', {get() { throw new Error(); }});",
    "full": "Storage.prototype.setItem = () => { throw new DOMException('', 'Quota'); };",
}


@pytest.mark.parametrize("how", REFUSED)
def test_where_nothing_can_be_kept_the_page_says_so_and_still_sends(
    open_page: OpenPage, demo: Path, tmp_path: Path, how: str
) -> None:
    """A phone that refuses storage gets a warning that is seen, and a file from memory."""
    folder = season_copy(demo, tmp_path)
    opened = open_page(sheet(demo), size=PHONE)
    page = opened.page
    page.add_init_script(REFUSED[how])
    reload(page)
    assert "keeps nothing" in page.inner_text("#unkept")
    go(page, 1)
    page.click("#count-0-plus")
    page.click("#undo")
    tap(page, "#count-0-plus", 3)
    assert "1 visit and 0 treatments logged" in imported(folder, sent_text(page))
    assert opened.complaints == []


def test_a_phone_that_fills_up_loses_old_steps_and_no_count(
    open_page: OpenPage, demo: Path
) -> None:
    """Where room runs out the steps back go first; what was counted is kept, and nobody warned."""
    page = open_page(sheet(demo), size=PHONE).page
    go(page, 1)
    page.fill("#notes", "n" * 15_000)
    page.evaluate(
        """() => {
          const put = Storage.prototype.setItem;
          Storage.prototype.setItem = function (key, text) {
            if (text.length > 400000) throw new DOMException('', 'QuotaExceededError');
            return put.call(this, key, text);
          };
        }"""
    )
    tap(page, "#count-0-plus", 40)
    assert page.is_hidden("#unkept")
    reload(page)
    assert count_number(page, 0) == "40"


def test_sixty_steps_are_taken_back_after_a_reload(open_page: OpenPage, demo: Path) -> None:
    """Undo goes back through every tap, also of another stop, and typing is one step."""
    page = open_page(sheet(demo), size=PHONE).page
    go(page, 2)
    tap(page, "#count-0-plus", 3)
    page.type("#notes", "seen")
    go(page, 1)
    tap(page, "#count-1-plus", 60)
    reload(page)
    tap(page, "#undo", 59)
    assert count_number(page, 1) == "1"
    page.click("#undo")
    assert count_number(page, 1) == "\u2013"
    page.click("#undo")  # the word that was typed at the other stop
    assert page.url.endswith("#stop-2")
    assert page.input_value("#notes") == ""
    tap(page, "#undo", 3)
    assert count_number(page, 0) == "\u2013"
    assert page.is_disabled("#undo")


def test_a_sheet_that_comes_anew_goes_on_where_the_old_one_was(
    open_page: OpenPage, demo: Path
) -> None:
    """Replanned without a field that was counted, the sheet keeps it apart and sends it too."""
    season = season_of(demo)
    ids = field_ids(season)[:3]
    old, new, others = (
        build_week(season, {(MONDAY, who): walked})
        for who, walked in (("Ann", ids), ("Ann", ids[1:]), ("Bo", ids))
    )
    opened = open_page(sheet_html(old, old.days[0]), size=PHONE)
    page, file = opened.page, Path(opened.url.removeprefix("file://"))
    go(page, 1)
    tap(page, "#count-0-plus", 4)
    go(page, 2)
    tap(page, "#count-0-plus", 2)
    file.write_text(sheet_html(new, new.days[0]), encoding="utf-8")
    page.goto(opened.url)
    assert ids[0] in page.inner_text("#elsewhere")
    go(page, 1)
    assert count_number(page, 0) == "2"
    table = sent_text(page)
    assert f",{ids[0]}," in table
    assert f",{ids[1]}," in table
    file.write_text(sheet_html(others, others.days[0]), encoding="utf-8")
    page.goto(opened.url)
    go(page, 1)
    assert count_number(page, 0) == "\u2013"  # somebody else's day is another day


def test_what_cannot_be_read_is_put_aside(open_page: OpenPage, demo: Path) -> None:
    """Something else under the sheet's key is kept under another one, and that is said."""
    page = open_page(sheet(demo), size=PHONE).page
    key = page.evaluate("JSON.parse(document.getElementById('data').textContent).key")
    kept = "key => localStorage.getItem(key)"
    for i, text in enumerate(("{", "null", '{"form": 9}'), 1):
        page.evaluate("([key, text]) => localStorage.setItem(key, text)", [key, text])
        reload(page)
        assert "put aside" in page.inner_text("#trouble")
        assert page.evaluate(kept, f"{key} unread {i}") == text
    go(page, 1)
    page.click("#count-0-plus")
    reload(page)
    assert count_number(page, 0) == "1"
    page.click("#trouble-show")
    assert '{"form": 9}' in page.input_value("#trouble-box")
    page.click("#trouble-drop")
    assert page.is_hidden("#trouble")
    assert page.evaluate("localStorage.length") == 1


def test_a_number_that_cannot_be_is_refused_where_it_is_typed(
    open_page: OpenPage, demo: Path
) -> None:
    """Letters, halves and too many bugs change no count, and the box says what goes there."""
    page = open_page(sheet(demo), size=PHONE).page
    go(page, 1)
    tap(page, "#count-0-plus", 2)
    for wrong in ("x", "1.5", "-1", "1e9", "1e3", "0x10", "1,000", "1,250", "1 000"):
        page.locator("#count-0-typed").press_sequentially(wrong)
        assert "Not taken" in page.inner_text("#count-0-typed-wrong")
        assert count_number(page, 0) == "2"
        page.focus("#count-1-plus")
        assert "2 stands" in page.inner_text("#count-0-typed-wrong")
        assert page.input_value("#count-0-typed") == "2"
        page.evaluate("document.getElementById('count-0-typed').value = ''")
    page.fill("#defoliation", "12")
    page.focus("#notes")
    page.fill("#defoliation", "1,250")
    assert ",12,15-inch" in sent_text(page)
    go(page, 1)
    page.fill("#count-0-typed", "4000")
    page.focus("#notes")
    assert "4,000 in one set?" in page.inner_text("#count-0-typed-wrong")
    page.fill("#count-0-typed", "")
    assert count_number(page, 0) == "\u2013"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_every_state_of_the_page_is_accessible(open_page: OpenPage, demo: Path, dark: bool) -> None:
    """The checker finds nothing in the list, at a stop in the middle of its work, and at the end.

    Every button, link and box that is seen is at least 48 px high, for a gloved thumb.
    """
    opened = open_page(sheet(demo), size=PHONE, dark=dark)
    page = opened.page
    assert axe_violations(page) == []
    go(page, 1)
    page.click("#stage-other")
    page.check("#stage-R2")
    tap(page, "#count-0-plus", 60)
    page.click("#set-done")
    page.click("#more-said")
    page.fill("#defoliation", "40")
    page.fill("#share", "400")
    assert axe_violations(page) == []
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, a, select, textarea, summary, label,'
          + 'input:not([type=radio])')]
          .filter((e) => e.offsetParent && !e.matches('.skip, .hidden, .box label'))
          .filter((e) => e.getBoundingClientRect().height < 48).map((e) => e.outerHTML)"""
    )
    assert small == []
    sent_text(page)
    assert axe_violations(page) == []
    assert opened.sideways == 0
    assert opened.complaints == []
    assert opened.requests == []


def test_the_table_is_handed_on_and_copied(open_page: OpenPage, demo: Path) -> None:
    """Another app gets the same table as a file, or as text where it takes no files."""
    opened = open_page(sheet(demo), size=PHONE)
    page = opened.page
    page.add_init_script(
        """window.files = true; window.given = [];
        navigator.canShare = () => window.files;
        navigator.share = async (what) => window.given.push(
          what.files ? [what.files[0].name, await what.files[0].text()] : [what.title, what.text]);
        """
    )
    reload(page)
    go(page, 1)
    page.click("#count-0-plus")
    text = sent_text(page)
    for files in (True, False):
        page.evaluate("files => { window.files = files; }", files)
        page.click("#send-share")
        page.locator("#send-said", has_text="Handed on.").wait_for()
        page.evaluate("document.getElementById('send-said').textContent = ''")
    assert page.evaluate("window.given") == [[f"stagecast-{MONDAY}-Ann.csv", text]] * 2
    page.click("#send-copy")
    page.locator("#send-said", has_text="Copied.").wait_for()
    assert opened.complaints == []


def test_only_days_that_were_sent_whole_can_be_removed(open_page: OpenPage, demo: Path) -> None:
    """Days before are offered for removal once they were sent, and never go by themselves."""
    season = season_of(demo)
    ids = field_ids(season)[:2]
    opened = open_page(sheet(demo), size=PHONE)
    page, file = opened.page, Path(opened.url.removeprefix("file://"))
    go(page, 1)
    page.click("#count-0-plus")
    later = build_week(season, {(MONDAY + dt.timedelta(days=1), "Ann"): ids})

    def reopened(html: str) -> None:
        file.write_text(html, encoding="utf-8")
        page.goto(opened.url)
        page.click("#bar >> text=Send")

    reopened(sheet_html(later, later.days[0]))
    assert page.is_hidden("#forget")
    reopened(sheet(demo))
    sent_text(page)
    assert "shown as text" in page.inner_text("#send-list")
    reopened(sheet_html(later, later.days[0]))
    assert page.is_hidden("#forget")  # to show is not to send
    assert "1 field not sent" in page.inner_text("#days")
    reopened(sheet(demo))
    sent_text(page)
    page.click("#send-confirm")
    reopened(sheet_html(later, later.days[0]))
    assert page.is_hidden("#days")
    page.click("#forget")
    assert page.is_hidden("#forget")
    assert page.evaluate("localStorage.length") == 0


SHARE_FAILS = "navigator.share = async () => { throw new DOMException('', 'AbortError'); };"


def test_a_share_that_was_cancelled_sent_nothing(open_page: OpenPage, demo: Path) -> None:
    """Nothing counts as sent, no day is offered for removal, and an undone mistap is nothing."""
    page = open_page(sheet(demo), size=PHONE).page
    page.add_init_script(SHARE_FAILS)
    reload(page)
    go(page, 1)
    page.click("#count-0-plus")
    page.click("#bar >> text=Send")
    page.click("#send-share")
    page.locator("#send-said", has_text="not handed on").wait_for()
    assert "not sent yet" in page.inner_text("#send-list")
    go(page, 1)
    page.click("#undo")
    page.click("#bar >> text=Send")
    page.locator("#send-none").wait_for()
    go(page, 2)
    page.click("#count-0-plus")
    assert f",{field_ids(season_of(demo))[0]}," not in sent_text(page)


def test_what_was_sent_and_then_taken_back_is_corrected_to_nothing(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """The log has the mistap, so the next table corrects it: a visit without stage and counts."""
    folder = season_copy(demo, tmp_path)
    page = open_page(sheet(demo), size=PHONE).page
    go(page, 1)
    page.click("#count-0-plus")
    imported(folder, saved_file(page))
    go(page, 1)
    page.click("#undo")
    page.click("#bar >> text=Stops")
    assert "changed since" in page.inner_text("#list")
    imported(folder, saved_file(page))
    mistap, one = sorted(
        (v for v in log_of(folder) if v.visit_id.startswith("p")), key=lambda v: bool(v.corrects)
    )
    assert one.corrects == mistap.visit_id
    assert (one.sets, one.stage, one.notes, one.stand_notes, one.method) == ((), None, "", "", "")
    assert (one.field_id, one.date, one.who) == (mistap.field_id, MONDAY, "Ann")
    stands = LogStore(folder / LOG_FILE).read().visits
    assert not any(v.visit_id.startswith("p") for v in stands)  # nobody is taken to have looked


def test_a_phone_that_is_full_never_says_two_things_under_one_id(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """Where no freeze is stored that is said, and what is sent after a reload is still taken."""
    folder = season_copy(demo, tmp_path)
    opened = open_page(sheet(demo), size=PHONE)
    page = opened.page
    go(page, 1)
    page.click("#count-0-plus")
    page.evaluate(f"() => {{ {REFUSED['full']} }}")
    imported(folder, saved_file(page))
    assert "could not store" in page.inner_text("#send-said")
    page.once("dialog", lambda dialog: dialog.accept())
    page.goto("about:blank")
    page.goto(opened.url)
    go(page, 1)
    assert count_number(page, 0) == "1"
    page.click("#count-0-plus")
    imported(folder, saved_file(page), "second.csv")


def test_any_sheet_sends_the_other_days(open_page: OpenPage, demo: Path, tmp_path: Path) -> None:
    """A day that waits is named on the next day's sheet, and its counts go with its own date."""
    folder = season_copy(demo, tmp_path)
    season = season_of(demo)
    opened = open_page(sheet(demo), size=PHONE)
    page, file = opened.page, Path(opened.url.removeprefix("file://"))
    go(page, 1)
    tap(page, "#count-0-plus", 3)
    tuesday = MONDAY + dt.timedelta(days=1)
    later = build_week(season, {(tuesday, "Ann"): field_ids(season)[1:2]})
    file.write_text(sheet_html(later, later.days[0]), encoding="utf-8")
    page.goto(opened.url)
    assert "Mon 6 Jul 2026, Ann: 1 field not sent" in page.inner_text("#days")
    go(page, 1)
    page.click("#count-0-plus")
    imported(folder, saved_file(page))
    assert page.is_hidden("#days")
    phone = [v for v in log_of(folder) if v.visit_id.startswith("p")]
    assert {(v.date, v.field_id) for v in phone} == set(
        zip((MONDAY, tuesday), field_ids(season)[:2], strict=True)
    )


def test_two_windows_lose_nothing_of_each_other(open_page: OpenPage, demo: Path) -> None:
    """Each adds to what the other kept; a box that is typed in is left alone."""
    one = open_page(sheet(demo), size=PHONE)
    two = open_page(Path(one.url.removeprefix("file://")), context=one.page.context)
    go(two.page, 1)
    one.page.bring_to_front()  # a page behind another is drawn seldom, and slow to be tapped
    go(one.page, 1)
    tap(one.page, "#count-0-plus", 2)
    one.page.focus("#notes")
    one.page.keyboard.type("low")
    two.page.bring_to_front()
    two.page.locator("#count-0-plus .number", has_text="2").wait_for()
    tap(two.page, "#count-0-plus", 3)
    one.page.bring_to_front()
    one.page.wait_for_function(KEPT_HERE, arg=two.page.evaluate(KEPT))
    one.page.keyboard.type(" corner")
    assert one.page.evaluate("document.activeElement.id") == "notes"
    go(one.page, 2)
    one.page.click("#count-0-plus")
    go(one.page, 1)
    one.page.locator("#count-0-plus .number", has_text="5").wait_for()
    assert one.page.input_value("#notes") == "low corner"
    two.page.bring_to_front()
    two.page.wait_for_function(KEPT_HERE, arg=one.page.evaluate(KEPT))
    table = sent_text(two.page)
    assert "low corner" in table
    assert f",{field_ids(season_of(demo))[1]}," in table


@pytest.mark.parametrize("font", ["Georgia", "monospace"])
def test_nothing_moves_under_the_finger(font: str, open_page: OpenPage, demo: Path) -> None:
    """Taps on any button of a pest leave all others where they are, and twice is none found."""
    page = open_page(sheet(demo), size=PHONE).page
    page.evaluate(
        """(font) => document.querySelectorAll('body, body *').forEach(
            (e) => e.style.setProperty('font-family', font, 'important'))""",
        font,
    )
    go(page, 1)
    places = (
        "[...document.querySelectorAll('.tile button, .tile input, #size-said, #bar-set button')]"
        ".map((e) => [e.offsetLeft, e.offsetTop, e.offsetWidth, e.offsetHeight])"
    )
    before = page.evaluate(places)
    for selector in ("#count-0-plus", "#count-0-less", "#count-1-less", "#count-1-plus"):
        page.click(selector)
        assert page.evaluate(places) == before
    page.dblclick("#count-2-less")
    assert count_number(page, 2) == "0"
    page.fill("#count-0-typed", "1,000")
    page.focus("#count-0-plus")
    assert page.evaluate(places) == before
    page.click("#count-0-plus")
    assert page.inner_text("#undo").endswith("+1, stop 1")
    page.dblclick("#set-done")
    assert page.inner_text("#set-title") == "Set 2 of 4"
    assert "per 25 sweeps" in page.inner_text("#answers")


def test_the_bar_gives_the_answer_in_one_line(open_page: OpenPage, demo: Path) -> None:
    """Mean, threshold, chance and answer stay in view; after the usual sets none is too few.

    A field far over its threshold may be left before they are taken, and the page says so.
    """
    opened = open_page(sheet(demo), size=PHONE)
    page = opened.page
    go(page, 1)
    assert page.is_hidden("#bar-answer")
    heights = set()
    for number in range(1, 5):
        page.fill("#count-0-typed", "90")
        done(page)
        heights.add(page.evaluate("document.getElementById('bar-said').clientHeight"))
        said = page.inner_text("#bar-said")
        assert " 90 of " in said
        assert said.endswith(("3 more sets", "could stop", "could stop", "above")[number - 1])
        assert ("Could stop: over already." in page.inner_text("#answers")) == (number in (2, 3))
    assert len(heights) == 1
    assert "too few" not in page.inner_text("#answers")
    assert opened.sideways == 0


def test_a_stand_is_counted_in_lengths_of_row(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """Plants standing, place by place, come into the log as a stand count once the width is known.

    Without it they are words on the stand.
    """
    folder = season_copy(demo, tmp_path)
    season = season_of(demo)
    route = build_week(season, {(MONDAY, "Ann"): field_ids(season)[:1]})
    (stop,) = route.days[0].stops
    day = replace(route.days[0], stops=(replace(stop, sampling="stand-look"),))
    page = open_page(sheet_html(route, day), size=PHONE).page
    go(page, 1)
    for plants in ("62", "58"):
        page.fill("#stand-plants", plants)
        done(page)
    page.fill("#stand-plants", "60")
    reload(page)
    page.fill("#stand", "gaps")
    assert axe_violations(page) == []
    imported(folder, saved_file(page))
    (logged,) = (v for v in log_of(folder) if v.visit_id.startswith("p"))
    assert (logged.stand_notes, logged.stand) == ("plants per 10 ft: 62, 58, 60; gaps", None)
    go(page, 1)
    page.fill("#stand-width", "15")
    page.fill("#stand-plants", "41")
    page.fill("#stand-gap", "2.5")
    done(page)
    said = page.inner_text("#standing-said")
    assert "62, 58, 60, 41 gap 2.5. About 192,500 plants an acre" in said
    imported(folder, saved_file(page))
    (logged,) = (v for v in log_of(folder) if v.corrects)
    places = (StandPlace(62), StandPlace(58), StandPlace(60), StandPlace(41, 2.5))
    assert logged.stand_notes == "gaps"
    assert logged.stand == LoggedStand(places, 15.0, 10.0)


def test_a_stand_says_on_the_phone_what_the_desk_says(open_page: OpenPage, demo: Path) -> None:
    """Random stand counts, in rows with gaps and in hoops: plants, yield kept and answer alike."""
    season = season_of(demo)
    route = build_week(season, {(MONDAY, "Ann"): field_ids(season)[:1]})
    (stop,) = route.days[0].stops
    day = replace(route.days[0], stops=(replace(stop, sampling="stand-look"),))
    page = open_page(sheet_html(route, day), size=PHONE).page
    draw = random.Random(20260526)
    field = stop.plan.forecast.field
    stands = [random_stand(draw) for _ in range(150)]
    found = page.evaluate(
        """(stands) => {
          const data = JSON.parse(document.getElementById('data').textContent);
          const { stand } = data.rules;
          return stands.map((one) => [
            standCount(one, stand.limits), judgeStand(one, data.stops[0], stand),
          ]);
        }""",
        [standing_of(one) for one in stands],
    )
    answers = set()
    for stand, (words, phone) in zip(stands, found, strict=True):
        assert parse_stand(words) == stand
        desk = assess_stand(
            LoggedVisit("v", "F1", stop.arrive.date(), stand=stand),
            planted=field.planting_date,
            region=season.settings.region,
            knowledge=KNOWLEDGE,
        )
        assert desk is not None
        assert (phone["plants"], phone["kept"]) == pytest.approx((desk.estimate.mean, desk.kept))
        assert phone["answer"] == desk.answer
        answers.add(desk.answer)
    assert len(answers) > 1


def random_stand(draw: random.Random) -> LoggedStand:
    """One to eight places with few plants or many, in rows or in a hoop."""
    most = draw.choice([5, 20, 60])
    places = [StandPlace(draw.randint(0, most)) for _ in range(draw.randint(1, 8))]
    if draw.random() < 0.4:
        return LoggedStand(tuple(places), hoop_in=draw.choice([24.0, 30.0, 36.0]))
    places = [replace(p, gap_ft=draw.choice([None, 0.0, 1.5, 6.0])) for p in places]
    width, length = draw.choice([7.5, 15.0, 30.0, 36.0]), draw.choice([10.0, 17.4])
    return LoggedStand(tuple(places), width, length)


def standing_of(stand: LoggedStand) -> dict[str, Any]:
    """A stand count as the page keeps it."""
    return {
        "length": stand.row_ft or 10, "unit": "ft", "width": stand.row_width_in,
        "hoop": stand.hoop_in, "counts": [place.plants for place in stand.places],
        "gaps": [place.gap_ft for place in stand.places],
    }  # fmt: skip


def test_a_phone_that_shows_everything_twice_as_large_scrolls_one_way(
    open_page: OpenPage, demo: Path
) -> None:
    """At 180 px no part of the page is wider than the window."""
    opened = open_page(sheet(demo), size=(180, 370))
    page = opened.page
    assert opened.sideways == 0
    go(page, 1)
    page.click("#stage-other")
    tap(page, "#count-0-plus", 60)
    page.click("#set-done")
    assert opened.sideways == 0
    sent_text(page)
    assert opened.sideways == 0
    assert opened.complaints == []
