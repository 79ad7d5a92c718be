"""``stagecast history``: one field's season as table, chart, JSON and CSV."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from commands import run_command
from documents import keys_said
from hypothesis import given
from hypothesis import strategies as st
from log_builder import KNOWLEDGE, at, log_of, logged, sets_of, treatment, visit
from season_builder import FieldLine, StationFile, VisitLine, build_season, day

from stagecast.counts.assess import assess
from stagecast.screens.history import (
    COUNT,
    MOST_CHARTS,
    RANGE,
    THRESHOLD,
    TREATED,
    CountSeries,
    chart,
    series_of,
)
from stagecast.season.log.entries import LoggedCount, LoggedSet, ScoutingLog
from stagecast.visits.history import FieldHistory, field_history
from stagecast.visits.season_day import SeasonDay

BUGS, REDBANDED = "stink-bugs", "redbanded-stink-bug"
AS_OF = day(8, 10)
LOG = log_of(
    visit(day(7, 6), sets_of(BUGS, (1, 0, 2, 1))),
    visit(day(7, 13), sets_of(BUGS, (3, 2, 2, 5))),
    visit(day(7, 20), sets_of(BUGS, (6, 7, 4, 5)), defoliation_percent=8),
    visit(day(7, 27), sets_of(BUGS, (22, 31, 14, 25)), stage="R5"),
    replace(treatment(at(7, 28, 16), 24), preharvest_days=21),
    visit(day(8, 3), sets_of(BUGS, (1, 0, 0, 0))),
    visit(day(7, 20), sets_of(BUGS, (99,) * 4), field_id="F2"),
)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two fields; one has a visit in visits.csv of its own and one on the day of a logged visit."""
    return build_season(
        tmp_path_factory.mktemp("history"),
        fields=(FieldLine("F1"), FieldLine("F2", latitude=36.01)),
        stations=(StationFile(first=dt.date(2023, 1, 1)),),
        visits=(
            VisitLine("F1", day(6, 10), "virtually none", "V5"),
            VisitLine("F1", day(7, 13), "near threshold", "R3", "60"),
        ),
    )


def told(folder: Path, *options: str, log: ScoutingLog = LOG, columns: int = 100) -> str:
    """What the command prints for F1 on a day in August."""
    with logged(log):
        ran = run_command(
            "history", folder, "F1", "--as-of", AS_OF.isoformat(), *options, columns=columns
        )
    assert ran.code == 0, ran.err
    return ran.out


def document(folder: Path, log: ScoutingLog = LOG) -> dict[str, Any]:
    """The same as JSON."""
    return json.loads(told(folder, "--format", "json", log=log))


def history(folder: Path, log: ScoutingLog = LOG) -> FieldHistory:
    """The same as values."""
    with logged(log):
        return field_history(SeasonDay.open(folder, as_of=AS_OF).field("F1"))


def lines(text: str, start: str) -> list[str]:
    """The lines that begin with a text."""
    return [line for line in text.splitlines() if line.startswith(start)]


# --- what is told ----------------------------------------------------------------------------


def test_every_visit_and_treatment_is_told_once_by_date(season: Path) -> None:
    """Log and visits.csv make one series; a day in both is one visit; another field's is none."""
    found = document(season)
    assert [v["date"] for v in found["visits"]] == [
        "2026-06-10", "2026-07-06", "2026-07-13", "2026-07-20", "2026-07-27", "2026-08-03",
    ]  # fmt: skip
    assert [t["product"] for t in found["treatments"]] == ["Product A"]
    assert not any(p["mean_per_set"] == 99 for v in found["visits"] for p in v["pests"])


def test_counts_stand_per_25_and_per_100_sweeps_beside_the_threshold(season: Path) -> None:
    """22 bugs in four sets are 5.5 per 25 and 22 per 100 sweeps, threshold 9 in Tennessee."""
    (found,) = [v for v in document(season)["visits"] if v["date"] == "2026-07-20"]
    (bugs,) = found["pests"]
    assert (bugs["mean_per_25_sweeps"], bugs["mean_per_100_sweeps"]) == (5.5, 22.0)
    assert bugs["threshold_per_set"] == 9.0
    assert bugs["threshold"] == "9 bugs per 25 sweeps (Tennessee, R1-R6)"
    assert found["defoliation_percent"] == 8
    (row,) = lines(told(season), "20 Jul ")
    assert re.search(
        r"stink bugs, 4 sets +5\.5 of 9 per 25 sweeps \([\d.]+-[\d.]+\) +\d+% +(below|near)", row
    )


def test_sets_of_another_size_keep_it_and_are_brought_to_25_in_json(season: Path) -> None:
    """Ten bugs in sets of 10 sweeps are 25 per 25 sweeps; the threshold of 9 per 25 is 3.6."""
    log = log_of(visit(day(7, 20), sets_of(BUGS, (10, 10), size=10.0)))
    (bugs,) = document(season, log)["visits"][-1]["pests"]
    assert (bugs["set_size"], bugs["mean_per_set"]) == (10.0, 10.0)
    assert (bugs["mean_per_25_sweeps"], bugs["mean_per_100_sweeps"]) == (25.0, 100.0)
    assert bugs["threshold_per_set"] == pytest.approx(3.6)
    assert re.search(r"stink bugs, 2 sets +10 of 3\.6 per 10 sweeps ", told(season, log=log))


def test_counts_by_row_feet_are_never_made_sweeps(season: Path) -> None:
    """Another unit keeps its name, on the screen and in JSON."""
    one = LoggedSet(1, 1.0, "row-feet", (LoggedCount(BUGS, "", 3),))
    log = log_of(visit(day(7, 20), (one,)))
    (bugs,) = document(season, log)["visits"][-1]["pests"]
    assert bugs["mean_per_25_sweeps"] is bugs["mean_per_100_sweeps"] is None
    assert bugs["of"] == "row-feet"
    assert "per row-foot" in told(season, log=log)


def test_the_answers_are_those_of_the_assessment(season: Path) -> None:
    """The history does not judge anew: the same visit assessed by itself says the same."""
    for past in history(season).visits:
        if past.logged is None or past.found is None:
            continue
        alone = assess(
            past.logged, stage=past.stage, stage_seen=past.stage_seen, region="TN",
            knowledge=KNOWLEDGE,
        )  # fmt: skip
        assert past.found.pests == alone.pests


def test_stages_seen_and_forecast_are_told_apart(season: Path) -> None:
    """A stage from visits.csv or the log is seen; where none was noted the forecast speaks."""
    found = {v["date"][5:]: (v["stage"], v["stage_seen"]) for v in document(season)["visits"]}
    assert found["06-10"] == ("V5", True)
    assert found["07-13"] == ("R3", True)
    assert found["07-27"] == ("R5", True)
    assert found["07-06"][1] is found["07-20"][1] is False
    text = told(season)
    assert lines(text, "13 Jul R3 60%")
    assert lines(text, f"6 Jul  ~{found['07-06'][0]}")


def test_words_of_visits_csv_are_told_beside_what_counts_say(season: Path) -> None:
    """The word stands where nothing was counted; counts go before it, and it is kept."""
    visits = {v["date"][5:]: v for v in document(season)["visits"]}
    assert visits["06-10"]["pressure"] == visits["06-10"]["pressure_noted"] == "virtually none"
    assert visits["07-13"]["pressure_noted"] == "near threshold"
    assert visits["07-13"]["pressure"] == "some"
    assert "virtually none" in lines(told(season), "10 Jun")[0]


def test_treatments_carry_their_intervals(season: Path) -> None:
    """Product, time, hours to entry, days to harvest, and where the rule stands."""
    (found,) = document(season)["treatments"]
    assert found["entry_from"] == "2026-07-29T16:00"
    assert (found["reentry_hours"], found["preharvest_days"]) == (24, 21)
    text = " ".join(told(season, columns=200).split())
    assert "treated Product A, 16:00, no entry for 24 h, no harvest for 21 days" in text
    assert "40 CFR part 170" in text


def test_a_closed_field_is_said_so_first(season: Path) -> None:
    """On a day inside the interval the history opens with it, in JSON too."""
    with logged(LOG):
        ran = run_command("history", season, "F1", "--as-of", "2026-07-29", columns=200)
        found = run_command("history", season, "F1", "--as-of", "2026-07-29", "--format", "json")
    assert "until Wed 29 Jul 16:00 (Product A, 24 h" in ran.out.partition("day ")[0]
    assert json.loads(found.out)["no_entry_until"] == "2026-07-29T16:00"
    assert document(season)["no_entry_until"] is None


def test_nothing_after_the_day_asked_for_is_told(season: Path) -> None:
    """As it stood: later visits and treatments are absent."""
    with logged(LOG):
        ran = run_command("history", season, "F1", "--as-of", "2026-07-20", "--format", "json")
    found = json.loads(ran.out)
    assert max(v["date"] for v in found["visits"]) == "2026-07-20"
    assert found["treatments"] == []


def test_a_field_without_anything_says_so(season: Path) -> None:
    """No empty table, no chart."""
    with logged(ScoutingLog()):
        ran = run_command("history", season, "F2", "--as-of", "2026-07-20")
    assert ran.code == 0
    assert "Nothing is noted up to 20 Jul." in ran.out


def test_an_unknown_field_is_refused_with_those_there_are(season: Path) -> None:
    """One sentence with the ids, exit code 2; another case of letters is understood."""
    ran = run_command("history", season, "F9", "--as-of", "2026-07-20")
    assert ran.code == 2
    assert "F9" in ran.err
    assert "F1, F2" in ran.err
    assert run_command("history", season, "f1", "--as-of", "2026-07-20").code == 0


def test_what_a_person_typed_cannot_steer_the_terminal(season: Path) -> None:
    """Control characters in a product become visible marks."""
    log = log_of(treatment(at(7, 20, 8), 4, product="A\x1b[2Jz"))
    assert "\x1b" not in told(season, log=log)


def test_documented_keys_are_those_printed(season: Path) -> None:
    """The guide names every key of the document, and no other."""
    found = document(season)
    visit_keys = {key for v in found["visits"] for key in v}
    pest_keys = {key for v in found["visits"] for p in v["pests"] for key in p}
    keys = {*found, *visit_keys, *pest_keys, *found["treatments"][0]}
    assert keys_said("`history` has ") == keys


# --- CSV --------------------------------------------------------------------------------------


def test_csv_has_a_row_for_each_count_and_treatment(season: Path) -> None:
    """Rows are those of the document: visits and pests, then treatments, null as empty cell."""
    rows = list(csv.DictReader(io.StringIO(told(season, "--format", "csv"))))
    found = document(season)
    pests = [(v["date"], p) for v in found["visits"] for p in v["pests"] or [None]]
    assert len(rows) == len(pests) + len(found["treatments"])
    for row, (date, pest) in zip(rows, pests, strict=False):
        assert (row["kind"], row["date"]) == ("visit", date)
        assert row["mean_per_100_sweeps"] == (
            "" if pest is None else str(pest["mean_per_100_sweeps"])
        )
    assert rows[-1]["product"] == "Product A"
    assert rows[-1]["applied_at"] == "2026-07-28T16:00"


# --- the chart --------------------------------------------------------------------------------


def test_the_chart_shows_counts_thresholds_and_treatments(season: Path) -> None:
    """Every mark of the legend is in the chart, and the days of the visits stand below it."""
    text = told(season)
    assert f"{COUNT} mean, {RANGE} its 80 percent range, {THRESHOLD} threshold" in text
    drawn = [line.partition("|")[2] for line in text.splitlines() if re.match(r" *[\d.]+ \|", line)]
    for mark in (COUNT, RANGE, THRESHOLD, TREATED):
        assert any(mark in line for line in drawn)
    assert re.search(r"^ +6 Jul .*27 Jul", text, re.MULTILINE)


@given(width=st.integers(60, 160), gap=st.integers(1, 60))
def test_no_line_of_a_chart_is_wider_than_the_screen(width: int, gap: int) -> None:
    """However long the season, the chart fits, and both counts are in it."""
    days = (day(5, 1), day(5, 1) + dt.timedelta(days=gap))
    counts = tuple((d, _assessed(d, (2, 3, 1, 2))) for d in days)
    drawn = chart(CountSeries("", 25.0, counts), [], width=width)
    assert max(map(len, drawn)) <= width
    assert any(COUNT in line for line in drawn)


def test_means_can_be_read_back_from_the_chart(season: Path) -> None:
    """Each count's mark stands in the row of its value, within half a step."""
    (one,) = series_of(history(season))
    drawn = chart(one, [], width=100)
    rows = [(float(m[1]), m[2]) for line in drawn if (m := re.match(r" *([\d.]+) \|(.*)", line))]
    step = rows[0][0] - rows[1][0]
    read = sorted(value for value, marks in rows for _ in re.findall(f"{COUNT}+", marks))
    means = sorted(found.mean_per_set for _, found in one.counts)
    low_ones = [mean for mean in means if mean < step / 2]
    assert len(read) == len(means)
    for value, mean in zip(read, means, strict=True):
        assert abs(value - mean) <= step / 2 or mean in low_ones


def test_no_range_is_cut_off_at_the_top_of_the_chart() -> None:
    """A range that reaches beyond every mean and threshold has room above them."""
    found = _assessed(day(7, 6), (19, 21, 18, 20))
    assert found.high is not None
    assert found.high > max(found.mean_per_set, found.threshold_per_set or 0.0)
    drawn = chart(CountSeries("", 25.0, ((day(7, 6), found),)), [], width=80)
    assert float(drawn[0].partition("|")[0]) >= found.high


def test_charts_are_of_the_pests_nearest_to_threshold(season: Path) -> None:
    """At most so many are drawn, the most pressing first; the others are named."""
    pests = (BUGS, REDBANDED, "green-cloverworm", "bean-leaf-beetle", "potato-leafhopper")
    numbers = {p: 3.0 * (i + 1) for i, p in enumerate(pests)}
    sets = tuple(
        LoggedSet(n, 25.0, "sweeps", tuple(LoggedCount(p, "", c) for p, c in numbers.items()))
        for n in (1, 2, 3, 4)
    )
    found = series_of(history(season, log_of(visit(day(7, 20), sets), visit(day(7, 27), sets))))
    nearest = [one.nearest for one in found]
    assert nearest == sorted(nearest, reverse=True)
    assert len(found) > MOST_CHARTS
    text = told(season, log=log_of(visit(day(7, 20), sets), visit(day(7, 27), sets)))
    assert text.count("its 80 percent range") == MOST_CHARTS
    assert "No chart: " in text


def _assessed(date: dt.date, counts: tuple[float, ...]) -> Any:
    found = assess(
        visit(date, sets_of(BUGS, counts)), stage="R4", stage_seen=True, region="TN",
        knowledge=KNOWLEDGE,
    )  # fmt: skip
    return found.pests[0]
