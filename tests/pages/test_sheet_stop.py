"""One stop on the phone: how many taps it takes, what stays in view, and its forms."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from browser import OpenPage, axe_violations, chromium, open_page
from sheet_page import (
    SECOND_TAP_MS,
    count_number,
    done,
    go,
    imported,
    log_of,
    reload,
    season_copy,
    sent_text,
    sheet,
    tap,
)
from week_builder import MONDAY, build_week, field_ids, season_of

from stagecast.pages.phone.sheet import sheet_html
from stagecast.season.log.entries import LoggedCount, LoggedSet

__all__ = ["chromium", "open_page"]
pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("rules_once")]

SMALL = (360, 640)
MOST_TAPS, MOST_SCROLLED = 14, 1500
"""What a stop of four sets, three pests and a stage may take, beyond the insects counted."""

WATCH = """() => {
  window.taps = 0;
  window.scrolled = 0;
  let at = window.scrollY;
  document.addEventListener('click', (event) => {
    if (event.isTrusted && !event.target.closest('.plus')) window.taps += 1;
  }, true);
  window.addEventListener('scroll', () => {
    window.scrolled += Math.abs(window.scrollY - at);
    at = window.scrollY;
  });
}"""

IN_VIEW = """() => {
  const end = document.getElementById('bar').getBoundingClientRect().top;
  return [...document.querySelectorAll('.plus')].map((e) => e.getBoundingClientRect())
    .filter((place) => place.top >= 0 && place.bottom <= end).length;
}"""


BEGINS, ENDS = '<script type="application/json" id="data">', "</script>"


def data_in(html: str) -> dict[str, Any]:
    """What the page's script reads."""
    return dict(json.loads(html.partition(BEGINS)[2].partition(ENDS)[0]))


def altered(html: str, **changes: Any) -> str:
    """The sheet with something else in its first stop, as another season would have it."""
    before, _, rest = html.partition(BEGINS)
    after = rest.partition(ENDS)[2]
    data = data_in(html)
    data["stops"][0].update(changes)
    told = json.dumps(data).replace("<", "\\u003c")
    return before + BEGINS + told + ENDS + after


def sampled_by(demo: Path, sampling: str) -> str:
    """The sheet of two stops, of which the first is sampled in another way."""
    season = season_of(demo)
    route = build_week(season, {(MONDAY, "Ann"): field_ids(season)[:2]})
    one, *others = route.days[0].stops
    day = replace(route.days[0], stops=(replace(one, sampling=sampling), *others))
    return sheet_html(route, day)


SMALL_TARGETS = """() => [...document.querySelectorAll('button, a, select, textarea, summary,'
  + 'input:not([type=radio])')]
  .filter((e) => e.offsetParent && !e.matches('.skip, .hidden'))
  .filter((e) => e.getBoundingClientRect().height < 48).map((e) => e.outerHTML)"""


def assert_fit_for_everyone(page: Any) -> None:
    """Nothing for the checker to find, and no target lower than 48 px, for a gloved thumb."""
    assert axe_violations(page) == []
    assert page.evaluate(SMALL_TARGETS) == []


def in_font(page: Any, font: str) -> None:
    """Show everything in a font, as a phone without ours would."""
    page.add_style_tag(content=f"body, body * {{ font-family: {font} !important }}")


def test_a_stop_takes_few_taps_and_hardly_any_scrolling(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """Four sets, three pests and a stage: counted as a thumb does it, from the list to the next.

    The bar is the project's own: 14 taps beyond the insects and 1,500 px at 360 by 640.
    """
    opened = open_page(sheet(demo), size=SMALL)
    page = opened.page
    page.evaluate(WATCH)
    page.click('#list a[href="#stop-1"]')
    page.click(".chips .forecast")
    for insects in (3, 0, 5, 2):
        for _ in range(insects):
            page.click("#count-0-plus")
        page.click("#count-1-plus")
        done(page)
    assert page.inner_text("#set-done").splitlines()[0] == f"Done here, next: {ids(demo)[1]}"
    done(page)
    page.locator("#title-2").wait_for()
    taps, scrolled = page.evaluate("[taps, scrolled]")
    assert taps <= MOST_TAPS
    assert taps == 7  # the stop, the stage, four sets, and on to the next
    assert scrolled <= MOST_SCROLLED
    folder = season_copy(demo, tmp_path)
    imported(folder, sent_text(page))
    (visit,) = (v for v in log_of(folder) if v.visit_id.startswith("p"))
    assert visit.stage is not None
    found = [{c.pest: c.number for c in one.counts}["stink-bugs"] for one in visit.sets]
    assert found == [3.0, 0.0, 5.0, 2.0]
    assert {count.pest for count in visit.sets[1].counts} == set(pests_of(demo))
    assert opened.complaints == []


def ids(demo: Path) -> list[str]:
    """Ids of the demo's fields."""
    return field_ids(season_of(demo))


def pests_of(demo: Path) -> list[str]:
    """The pests that the first stop asks for."""
    pests = data_in(sheet(demo))["stops"][0]["pests"]
    assert len(pests) == 3
    return list(pests)


@pytest.mark.parametrize("font", ["inherit", "serif", "monospace"])
def test_four_counters_are_in_view_and_stay_where_they_are(
    open_page: OpenPage, demo: Path, font: str
) -> None:
    """At 360 by 640, without scrolling: before a set, after it, and with its answer in the bar."""
    page = open_page(sheet(demo), size=SMALL).page
    in_font(page, font)
    go(page, 1)
    assert page.evaluate(IN_VIEW) == 4
    places = (
        "[...document.querySelectorAll('.tile button, #set-done, .chips button')]"
        ".map((e) => { const at = e.getBoundingClientRect(); return [at.x, at.y, at.width]; })"
    )
    before = page.evaluate(places)
    for _ in range(4):
        page.click("#count-0-plus")
        done(page)
        assert page.evaluate(places) == before
        assert page.evaluate(IN_VIEW) == 4
        far = "all far below" in page.inner_text("#bar-said")
        assert page.is_visible("#bar-answer .numline") != far


def test_where_all_is_far_below_no_pest_is_named(open_page: OpenPage, demo: Path) -> None:
    """The bar names the pest that is nearest its threshold; where none is near it names none."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    done(page, 4)
    assert page.inner_text("#bar-said") == "all far below"
    page.click("#bar >> text=Stops")
    go(page, 2)
    page.fill("#count-0-typed", "90")
    done(page, 4)
    assert "all far below" not in page.inner_text("#bar-said")


def test_what_is_walked_is_late_no_more(open_page: OpenPage, demo: Path) -> None:
    """The list says when a stop is due, or how late, until it is walked; then how it is kept."""
    page = open_page(sheet(demo), size=SMALL).page
    late = page.locator("#stops b[id^=due-]").first
    assert late.inner_text().startswith("Due ")
    number = int((late.get_attribute("id") or "").removeprefix("due-"))
    go(page, number)
    done(page)
    page.click("#bar >> text=Stops")
    assert not late.is_visible()
    assert page.inner_text(f"#standing-{number}").startswith("1 set")


def test_paper_is_told_of_paper(open_page: OpenPage, demo: Path) -> None:
    """Printed, the sheet says which command makes the one with boxes; on a phone it does not."""
    page = open_page(sheet(demo), size=SMALL).page
    told = page.get_by_text("stagecast pack with --paper")
    assert not told.is_visible()
    page.emulate_media(media="print")
    assert told.is_visible()


def test_a_field_may_be_left_before_the_planned_sets(open_page: OpenPage, demo: Path) -> None:
    """Beside a set in which nothing is counted yet stands the way on; it names the next stop."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    assert page.inner_text("#set-part") == "Done, rest not looked for"
    page.click("#count-0-plus")
    done(page)
    assert page.inner_text("#set-title") == "Set 2 of 4"
    page.click("#count-0-less")
    assert page.locator("#set-leave").count() == 0
    done(page, 3)
    assert page.inner_text("#set-title") == "4 sets done"
    assert "no growth stage noted" in page.inner_text("#set-done")
    page.click(".chips .forecast")
    following = page.evaluate("document.getElementById('title-2').textContent")
    assert following.startswith(ids(demo)[1])
    assert page.inner_text("#set-done").split() == ["Done", "here,", "next:", *following.split()]
    page.wait_for_timeout(SECOND_TAP_MS)
    page.click("#set-more")
    assert page.inner_text("#set-title") == "Set 5"
    page.wait_for_timeout(SECOND_TAP_MS)
    page.click("#set-leave")
    page.locator("#title-2").wait_for()


def test_a_page_that_goes_right_after_a_tap_has_kept_it(open_page: OpenPage, demo: Path) -> None:
    """Thirty times: a tap, then at once a page loaded anew, without waiting for anything."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    for taps in range(1, 31):
        page.evaluate("document.getElementById('count-0-plus').click(); location.reload()")
        page.wait_for_load_state()
        page.locator("#count-0-plus .number", has_text=re.compile(f"^{taps}$")).wait_for()


def test_a_tap_is_written_before_its_handler_ends(open_page: OpenPage, demo: Path) -> None:
    """Taps on every kind of button and typing in every kind of box are on the phone at once."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    kept = "Object.values(localStorage).join()"
    taps = ("#chip-R5", "#count-0-plus", "#count-1-less", "#leaves-20", "#set-done", "#undo")
    for selector in taps:
        before, after = page.evaluate(
            f"(selector) => {{ const before = {kept};"
            f" document.querySelector(selector).click(); return [before, {kept}]; }}",
            selector,
        )
        assert before != after, selector
    typed = {"#count-2-typed": "7", "#defoliation": "3", "#notes": "wet", "#arrived": "07:10"}
    for selector, text in typed.items():
        before, after = page.evaluate(
            f"""([selector, text]) => {{
              const [before, box] = [{kept}, document.querySelector(selector)];
              box.value = text;
              box.dispatchEvent(new Event('input', {{ bubbles: true }}));
              return [before, {kept}];
            }}""",
            [selector, text],
        )
        assert before != after, selector


LATE = """(() => {
  const get = Storage.prototype.getItem;
  Storage.prototype.getItem = function (key) {
    return this === window.localStorage && !window.there ? null : get.call(this, key);
  };
})();"""
"""A new page that finds nothing of what was just kept, as in Chromium once in some 300 times."""


def test_a_page_that_finds_its_day_missing_goes_on_from_what_the_tab_has(
    open_page: OpenPage, demo: Path
) -> None:
    """Where storage has not heard of the last taps yet, nothing is lost or written over."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    tap(page, "#count-0-plus", 3)
    page.click("#chip-R5")
    page.add_init_script(LATE)
    page.reload()
    assert count_number(page, 0) == "3"
    page.click("#count-0-plus")
    page.evaluate("window.there = true")
    page.reload()
    assert count_number(page, 0) == "4"
    assert page.get_attribute("#chip-R5", "aria-pressed") == "true"
    page.click("#undo")
    assert count_number(page, 0) == "3"


def test_what_could_not_be_written_is_tried_again_before_the_page_goes(
    open_page: OpenPage, demo: Path
) -> None:
    """A phone that refuses for a moment is written to when the page is put away."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    page.evaluate(
        """() => {
          window.put = Storage.prototype.setItem;
          Storage.prototype.setItem = () => { throw new DOMException('', 'QuotaExceededError'); };
        }"""
    )
    tap(page, "#count-0-plus", 3)
    assert page.is_visible("#unkept")
    page.evaluate("() => { Storage.prototype.setItem = window.put; }")
    page.evaluate("window.dispatchEvent(new PageTransitionEvent('pagehide'))")
    reload(page)
    assert count_number(page, 0) == "3"
    assert page.is_hidden("#unkept")


def test_a_day_that_an_older_sheet_kept_goes_on_at_its_open_set(
    open_page: OpenPage, demo: Path
) -> None:
    """What was kept before sets said so themselves: all but the last of them are done."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    tap(page, "#count-0-plus", 2)
    page.evaluate(
        """() => {
          const [[key, text]] = Object.entries(localStorage);
          const state = JSON.parse(text);
          delete state.added;
          for (const { said } of state.visits) {
            said.sets = [2, 4].map((n) => ({ size: 25, of: 'sweeps', counts: [
              { pest: said.sets[0].counts[0].pest, life: '', n }] }));
            said.at = 1;
            delete said.leaves;
          }
          localStorage.setItem(key, JSON.stringify(state));
        }"""
    )
    page.reload()
    assert page.inner_text("#set-title") == "Set 2 of 4"
    assert count_number(page, 0) == "4"
    assert " 2 of " in page.inner_text("#bar-said")
    done(page)
    assert " 3 of " in page.inner_text("#bar-said")


# --- the growth stage --------------------------------------------------------------------------


def test_the_stages_round_the_forecast_are_one_tap_away(open_page: OpenPage, demo: Path) -> None:
    """Two on either side of the forecast, as Fehr and Caviness number them; others behind "other".

    V nodes are counted on to the one after the forecast's; in bloom nobody knows the nodes.
    """
    page = open_page(sheet(demo), size=SMALL).page
    data = "JSON.parse(document.getElementById('data').textContent).rules"
    around = {
        "R5": ["R3", "R4", "R5", "R6", "R7"],
        "R1": ["R1", "R2", "R3"],
        "R8": ["R6", "R7", "R8"],
        "V9": ["V7", "V8", "V9", "V10", "R1"],
        "V2": ["VC", "V1", "V2", "V3", "R1"],
        "VE": ["VE", "VC", "V1"],
        "planted": ["VE", "VC", "V1"],
        "not planted": ["VE", "VC", "V1"],
    }
    for stage, expected in around.items():
        assert page.evaluate(f"(stage) => stagesAround(stage, {data})", stage) == expected
    go(page, 1)
    page.click("#chip-R4")
    assert page.get_attribute("#chip-R4", "aria-pressed") == "true"
    assert page.inner_text("#stage-said") == "Growth stage R4, full pod"
    page.click("#stage-other")
    page.check("#stage-Vn")
    page.select_option("#stage-nodes", "9")
    assert page.inner_text("#stage-other") == "V9"
    assert page.get_attribute("#chip-R4", "aria-pressed") == "false"
    assert ",V9," in sent_text(page)


# --- forms of their own ------------------------------------------------------------------------


def test_a_stand_is_no_sweeping(open_page: OpenPage, demo: Path) -> None:
    """A stop for the stand asks for plants, place by place, and no word of it is of sweeps."""
    page = open_page(sampled_by(demo, "stand-look"), size=SMALL).page
    go(page, 1)
    page.click("#chip-R5")
    assert page.locator("#stop-1 .tile").count() == 0
    assert "Set " not in page.inner_text("#bar-set")
    for place, plants in enumerate((62, 58, 60, 61), 1):
        assert page.inner_text("#set-done") == f"Place {place} done"
        page.fill("#stand-plants", str(plants))
        done(page)
    assert page.inner_text("#set-done").splitlines()[0] == f"Done here, next: {ids(demo)[1]}"
    assert page.evaluate("document.activeElement.id") == "stand-plants"
    assert_fit_for_everyone(page)
    page.click("#form-sweeps")  # for one who carries a net all the same
    assert page.inner_text("#set-title") == "Set 1 of 4"
    assert page.evaluate(IN_VIEW) >= 3


def test_a_whole_plant_look_judges_leaf_loss_by_places(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """One tap at each place, or a percent that is typed; the visit has the mean, and no set."""
    page = open_page(sampled_by(demo, "whole-plant"), size=SMALL).page
    go(page, 1)
    assert page.locator("#stop-1 .tile").count() == 0
    for share in (10, 20, 15):
        page.wait_for_timeout(SECOND_TAP_MS)
        page.dblclick(f"#place-{share}")  # a tap sooner is the same one
    assert page.inner_text("#leaves-title") == "Leaf loss, place 4 of 4"
    assert_fit_for_everyone(page)
    page.fill("#leaf-typed", "6")
    assert "10, 20, 15, 6 percent: 12.8 on average." in page.inner_text("#leaves-said")
    assert "leaf loss 12.8 of " in page.inner_text("#bar-said")
    done(page)
    assert page.inner_text("#set-done").startswith("Done here")
    page.click("#undo")
    assert page.inner_text("#leaves-title") == "Leaf loss, place 4 of 4"
    folder = season_copy(demo, tmp_path)
    imported(folder, sent_text(page))
    (visit,) = (v for v in log_of(folder) if v.visit_id.startswith("p"))
    assert (visit.defoliation_percent, visit.sets) == (15.0, ())


def test_aphids_are_counted_on_plants_beside_a_net_of_bugs(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """Each unit has sets of its own with its own pests, and both are judged and logged."""
    stop = {
        "pests": ["stink-bugs", "soybean-aphid"],
        "home": {"stink-bugs": "sweeps", "soybean-aphid": "plants"},
        "units": {"stink-bugs": ["sweeps"], "soybean-aphid": ["plants"]},
    }
    page = open_page(altered(sheet(demo), **stop), size=SMALL).page
    go(page, 1)
    assert page.locator(".tile").count() == 1
    page.click("#count-0-plus")
    page.click("#form-plants")
    assert page.inner_text("#set-title") == "Plant 1 of 11"
    assert page.locator(".tile").get_attribute("aria-label") == "soybean aphid"
    for aphids in (30, 50):
        tap(page, "#count-0-ten", aphids // 10)
        done(page)
    assert page.inner_text("#set-title") == "Plant 3 of 11"
    assert_fit_for_everyone(page)
    page.click("#form-sweeps")
    assert page.inner_text("#set-title") == "Set 1 of 4"
    assert count_number(page, 0) == "1"
    done(page)
    answers = page.inner_text("#answers")
    assert "stink bugs: too few" in answers
    assert "40 of 250 per plant" in answers
    folder = season_copy(demo, tmp_path)
    imported(folder, sent_text(page))
    (visit,) = (v for v in log_of(folder) if v.visit_id.startswith("p"))
    assert visit.sets == (
        LoggedSet(1, 25.0, "sweeps", (LoggedCount("stink-bugs", "", 1.0),)),
        LoggedSet(2, 1.0, "plants", (LoggedCount("soybean-aphid", "", 30.0),)),
        LoggedSet(3, 1.0, "plants", (LoggedCount("soybean-aphid", "", 50.0),)),
    )


def test_mites_are_rated_and_not_counted(open_page: OpenPage, demo: Path, tmp_path: Path) -> None:
    """A button for each step from 0 to 5, which is the Minnesota scale of damage."""
    mite = "twospotted-spider-mite"
    mites = {"pests": [mite], "home": {mite: "rating"}, "units": {mite: ["percent"]}}
    html = altered(sampled_by(demo, "mite-rating"), **mites)
    page = open_page(html, size=SMALL).page
    go(page, 1)
    assert page.locator(".tile").count() == 0
    assert [page.inner_text(f"#count-0-{step}") for step in range(6)] == list("012345")
    assert_fit_for_everyone(page)
    page.evaluate("document.getElementById('set-done').click()")
    assert "Nothing is noted here yet" in page.inner_text("#spoken")
    for rating in (2, 3):
        page.click(f"#count-0-{rating}")
        done(page)
    folder = season_copy(demo, tmp_path)
    imported(folder, sent_text(page))
    (visit,) = (v for v in log_of(folder) if v.visit_id.startswith("p"))
    assert [(s.unit, s.counts[0].number) for s in visit.sets] == [("rating", 2.0), ("rating", 3.0)]


def test_ages_have_buttons_of_their_own_where_a_threshold_tells_them_apart(
    open_page: OpenPage, demo: Path
) -> None:
    """Kudzu bugs go by nymphs at this stage, stink bugs all together; so nothing is doubted."""
    page = open_page(sheet(demo), size=SMALL).page
    go(page, 1)
    names = page.locator(".plus .name").all_inner_texts()
    assert names == ["stink bugs", "Japanese beetle", "kudzu bug, nymphs", "kudzu bug, adults"]
    tap(page, "#count-2-plus", 4)
    tap(page, "#count-3-plus", 9)
    done(page)
    why = page.evaluate("document.getElementById('answers').textContent")
    assert "not told apart" not in why
    assert "4 of 25 nymphs per 25 sweeps" in why
    assert "9 of 50 adults per 25 sweeps" in why


def test_counts_by_a_threshold_for_large_ones_are_told_apart_by_size(
    open_page: OpenPage, demo: Path
) -> None:
    """Where Tennessee counts large larvae, they and small ones have a button each."""
    page = open_page(sheet(demo), size=SMALL).page
    told = page.evaluate(
        """() => {
          const { rules } = JSON.parse(document.getElementById('data').textContent);
          const large = (pest, of, at) => rules.told[rules.held[of][pest][at]]
            .some((line) => line.usual && line.threshold !== undefined
              && rules.thresholds[line.threshold].large);
          const found = [];
          for (const pest of Object.keys(rules.pests)) for (const of of rules.units) {
            rules.order.forEach((stage, at) => {
              if (large(pest, of, at)) found.push([pest, of, stage]);
            });
          }
          return found;
        }"""
    )
    assert told  # some threshold on the sheet is for large ones
    pest, of, stage = told[0]
    stop = {
        "pests": [pest], "home": {pest: of}, "units": {pest: [of]}, "of": of,
        "stage": stage, "around": stage, "forecast": stage,
    }  # fmt: skip
    page = open_page(altered(sheet(demo), **stop), size=SMALL).page
    go(page, 1)
    names = page.locator(".plus .name").all_inner_texts()
    assert [name.rpartition(", ")[2] for name in names] == ["large larvae", "small larvae"]


# --- a field that is not on the plan -----------------------------------------------------------


def test_a_field_that_is_not_on_the_sheet_is_added_by_its_id(
    open_page: OpenPage, demo: Path, tmp_path: Path
) -> None:
    """Typed in any case it is a stop like the others: kept, judged and sent; others are refused."""
    opened = open_page(sheet(demo), size=SMALL)
    page = opened.page
    fifth = ids(demo)[4]
    for typed, said in (("nowhere", "No field of the season"), (fifth[:-1], "Which one: ")):
        page.fill("#add-field", typed)
        page.click("#add-go")
        assert said in page.inner_text("#add-said")
    page.fill("#add-field", f" {fifth.lower()} ")
    page.press("#add-field", "Enter")
    page.locator("#title-4").wait_for()
    assert page.inner_text("#title-4").startswith(fifth)
    page.click(".chips .forecast")
    page.click("#count-0-plus")
    done(page)
    assert "1 of 9" in page.inner_text("#bar-said")
    assert_fit_for_everyone(page)
    reload(page)
    assert page.url.endswith("#stop-4")
    assert page.inner_text("#set-title").startswith("Set 2")
    page.click("#bar >> text=Stops")
    assert page.locator("#stops li").count() == 4
    page.fill("#add-field", fifth)
    page.click("#add-go")  # it is there already
    assert page.locator("#stops li").count() == 4
    folder = season_copy(demo, tmp_path)
    imported(folder, sent_text(page))
    (visit,) = (v for v in log_of(folder) if v.visit_id.startswith("p"))
    assert (visit.field_id, visit.stage is not None) == (fifth, True)
    assert opened.complaints == []


# --- by keyboard, small and large --------------------------------------------------------------


def test_a_stop_is_done_by_keyboard_alone(open_page: OpenPage, demo: Path) -> None:
    """Tab, Enter and space from the list to the next stop; focus is never lost on the way."""
    page = open_page(sheet(demo), size=SMALL).page
    here = "document.activeElement.id || document.activeElement.getAttribute('href')"

    def to(target: str) -> None:
        for _ in range(60):
            if page.evaluate(here) == target:
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"{target} is not reached")

    to("#stop-1")
    page.keyboard.press("Enter")
    page.locator("#title-1").wait_for()
    assert page.evaluate(here) == "title-1"
    to("chip-R5")
    page.keyboard.press("Enter")
    assert page.evaluate(here) == "chip-R5"
    to("count-0-plus")
    page.keyboard.press("Space")
    assert count_number(page, 0) == "1"
    to("set-done")
    for _ in range(5):
        page.wait_for_timeout(SECOND_TAP_MS)
        page.keyboard.press("Enter")
        page.evaluate("() => new Promise((done) => setTimeout(done))")
    page.locator("#title-2").wait_for()
    assert page.evaluate(here) == "title-2"


@pytest.mark.parametrize("size", [(320, 568), (180, 320), (640, 360), (1280, 900)])
def test_a_stop_fits_every_window(open_page: OpenPage, demo: Path, size: tuple[int, int]) -> None:
    """At 320 px, twice as large, on its side and at a desk nothing goes sideways or is cut."""
    opened = open_page(sheet(demo), size=size)
    page = opened.page
    go(page, 1)
    page.click("#count-0-plus")
    done(page)
    assert opened.sideways == 0
    room = "document.getElementById('bar').getBoundingClientRect().top / innerHeight"
    assert page.evaluate(room) > 0.3  # the bar leaves room for the counters
    cut = page.evaluate(
        """() => [...document.querySelectorAll('.tile button, #bar-set button, .chips button')]
          .filter((e) => e.offsetParent && e.scrollWidth > e.clientWidth + 1)
          .map((e) => e.outerHTML)"""
    )
    assert cut == []
