"""How likely each stage is on a day: sums, days of all kinds, and agreement with the ranges."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from commands import WIDE, run_command, said
from hypothesis import given
from hypothesis import strategies as st
from season_builder import ONE_DAY, FieldLine, Sinusoidal, StationFile, VisitLine, build_season, day

from stagecast.forecast.forecast import NOT_PLANTED, PLANTED, FieldForecast, forecast_season
from stagecast.forecast.load import load_season
from stagecast.forecast.members import season_members
from stagecast.phenology.soybean import STAGES

AS_OF = day(7, 1)
ON_THE_DAY = ("--as-of", "2026-07-01")
ORDER = (NOT_PLANTED, PLANTED, *STAGES)
FIELDS = (
    FieldLine("F1"),
    FieldLine("F2", day(4, 14), "3.4", latitude=36.1),
    FieldLine("F3", day(6, 20), "late V", latitude=36.2),
    FieldLine("F4", day(7, 20), "VIII", latitude=36.3),
    FieldLine("F5", day(5, 10), "4.4", latitude=36.4, emergence_date=day(5, 18)),
)
VISITS = (VisitLine("F1", day(6, 24), "some", "R1"), VisitLine("F2", day(6, 20), "", "R3", "40"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fields of many ages, of which two have been seen at a stage."""
    return build_season(tmp_path_factory.mktemp("chances"), fields=FIELDS, visits=VISITS)


@pytest.fixture(scope="module")
def forecasts(folder: Path) -> list[FieldForecast]:
    """Their forecasts."""
    return forecast_season(load_season(folder, as_of=AS_OF))


def or_later(forecast: FieldForecast, stage: str, on: dt.date) -> float:
    """Probability that a field is in a stage or beyond at the end of a day."""
    chances = forecast.probabilities(on)
    return sum(chances[s] for s in ORDER[ORDER.index(stage) :])


def document(folder: Path, *options: str) -> dict[str, Any]:
    """What `stages` says as JSON."""
    return json.loads(said("stages", folder, *ON_THE_DAY, *options, "--format", "json"))


# --- by the forecast ------------------------------------------------------------------------


@given(on=st.dates(dt.date(2025, 6, 1), dt.date(2027, 6, 1)))
def test_probabilities_are_shares_of_one(on: dt.date, forecasts: list[FieldForecast]) -> None:
    """On any day, also of another year: every stage in its order, none below 0, sum 1."""
    for forecast in forecasts:
        chances = forecast.probabilities(on)
        assert tuple(chances) == ORDER
        assert min(chances.values()) >= 0.0
        assert sum(chances.values()) == pytest.approx(1.0)


@given(on=st.dates(day(3, 1), day(12, 31)))
def test_nothing_is_planted_before_its_day(on: dt.date, forecasts: list[FieldForecast]) -> None:
    """Before planting only "not planted" is possible; from that day on it is not."""
    for forecast in forecasts:
        planted = on >= forecast.field.planting_date
        assert forecast.probabilities(on)[NOT_PLANTED] == (0.0 if planted else 1.0)
        if on == forecast.field.planting_date:
            assert forecast.probabilities(on)[PLANTED] == pytest.approx(1.0)


def test_probabilities_agree_with_the_ranges(forecasts: list[FieldForecast]) -> None:
    """By the 10th, 50th and 90th per cent day a stage has come with that probability.

    On the eve it had not; only V4 may have been passed by in the eyes of one who sees a flower.
    """
    checked = 0
    for forecast in forecasts:
        for stage, dates in forecast.stages.items():
            ends = ((0.1, dates.p10), (0.5, dates.p50), (0.9, dates.p90))
            for share, when in ends:
                if when is None:
                    assert or_later(forecast, stage, forecast.span.last_day) < share
                    continue
                assert or_later(forecast, stage, when) >= share - 1e-9
                if stage != "V4":
                    assert or_later(forecast, stage, when - ONE_DAY) < share
                checked += 1
    assert checked > 100


def test_a_crop_never_goes_back(forecasts: list[FieldForecast]) -> None:
    """From day to day, a stage or any later one does not become less likely."""
    days = [day(4, 1) + 3 * i * ONE_DAY for i in range(80)]
    for forecast in forecasts:
        for stage in ("VE", "V2", "R1", "R3", "R6", "R8"):
            shares = [or_later(forecast, stage, on) for on in days]
            assert all(a <= b + 1e-12 for a, b in pairwise(shares))


def test_a_seen_emergence_is_certain_on_its_day(forecasts: list[FieldForecast]) -> None:
    """A field seen to emerge is planted on the eve and up that evening, beyond doubt.

    VC, which no one has seen, may in one case in twenty have come the same day.
    """
    eve, evening = (forecasts[4].probabilities(day(5, number)) for number in (17, 18))
    assert eve[PLANTED] == pytest.approx(1.0)
    assert evening["VE"] + evening["VC"] == pytest.approx(1.0)
    assert evening["VE"] >= 0.95


def test_a_crop_that_may_not_ripen_keeps_that_chance(tmp_path: Path) -> None:
    """At the end of a season too cool for it, R8 has the share of seasons in which it comes."""
    station = StationFile(weather=Sinusoidal(years_differ_c=3.0))
    late = FieldLine(planting_date=day(7, 10), maturity_group="7.9")
    folder = build_season(tmp_path, fields=(late,), stations=(station,))
    (forecast,) = forecast_season(load_season(folder, as_of=AS_OF))
    last = forecast.span.last_day
    ripe = float((forecast.stage_time("R8") < forecast.span.days).mean())
    assert 0.0 < ripe < 1.0
    assert forecast.probabilities(last)["R8"] == pytest.approx(ripe)


def test_what_was_seen_counts(folder: Path, forecasts: list[FieldForecast]) -> None:
    """On the day on which R1 was seen it is likelier than before it was learnt."""
    seen = forecasts[0]
    (members, *_) = season_members(load_season(folder, as_of=AS_OF))
    plain = members.times[:, STAGES.index("R1")], members.times[:, STAGES.index("R2")]
    end = seen.span.index(day(6, 24)) + 1.0
    unlearnt = float(((plain[0] < end) & (plain[1] >= end)).mean())
    assert seen.probabilities(day(6, 24))["R1"] > unlearnt


# --- by the command -------------------------------------------------------------------------


@pytest.mark.parametrize("on", ["2026-04-10", "2026-07-01", "2026-07-20", "2026-09-01"])
def test_json_gives_the_probabilities_of_any_day(
    on: str, folder: Path, forecasts: list[FieldForecast]
) -> None:
    """Before and after the day of the forecast; the stages themselves are the same."""
    found = document(folder, "--on", on)
    assert (found["as_of"], found["on"]) == ("2026-07-01", on)
    for told, forecast in zip(found["fields"], forecasts, strict=True):
        assert list(told["probabilities"]) == list(ORDER)
        expected = forecast.probabilities(dt.date.fromisoformat(on))
        assert told["probabilities"] == pytest.approx(expected, abs=6e-5)
        assert sum(told["probabilities"].values()) == pytest.approx(1.0, abs=1e-3)
    assert [f["stages"] for f in found["fields"]] == [
        f["stages"] for f in document(folder)["fields"]
    ]


def test_without_on_the_day_of_the_forecast_is_meant(folder: Path) -> None:
    """The default is --as-of, and a date may be written month first."""
    assert document(folder) == document(folder, "--on", "2026-07-01")
    assert document(folder, "--on", "7/20/2026") == document(folder, "--on", "2026-07-20")


def test_a_day_that_is_none_is_refused(folder: Path) -> None:
    """Exit code 2 and one sentence that names the option; nothing is printed as a result."""
    ran = run_command("stages", folder, *ON_THE_DAY, "--on", "2026-02-30")
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.startswith("--on: ")
    assert "2026-02-30" in ran.err
    assert ran.err.count("\n") == 1


def test_csv_says_what_json_says(folder: Path) -> None:
    """One probability per field and stage, the same in both."""
    text = said("stages", folder, *ON_THE_DAY, "--on", "2026-07-20", "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(text), strict=True))
    expected = [
        (f["field_id"], stage, f["probabilities"][stage])
        for f in document(folder, "--on", "2026-07-20")["fields"]
        for stage in STAGES
    ]
    assert [(r["field_id"], r["stage"], float(r["probability"])) for r in rows] == expected


@pytest.mark.parametrize("on", [None, "2026-05-12", "2026-08-10"])
def test_the_table_shows_what_is_likely(on: str | None, folder: Path) -> None:
    """Stages of a tenth and more in their order, in whole per cents, V4 as V4+; the day on top."""
    options = () if on is None else ("--on", on)
    lines = said("stages", folder, *ON_THE_DAY, *options, columns=WIDE).splitlines()
    (header,) = (line for line in lines if line.startswith("field "))
    when = dt.date.fromisoformat(on or "2026-07-01")
    assert ("likely today" if on is None else f"likely on {when.day} {when:%b}") in header
    for told in document(folder, *options)["fields"]:
        (line,) = (t for t in lines if re.match(rf"{told['field_id']} .*%", t))
        shares = {
            stage.replace("V4", "V4+"): share
            for stage, share in told["probabilities"].items()
            if share >= 0.1
        }
        shown = re.findall(r"(not planted|planted|V\d\+?|VE|VC|R\d) (\d+)%", line)
        assert [stage for stage, _ in shown] == list(shares)
        for (_, percent), share in zip(shown, shares.values(), strict=True):
            assert int(percent) == pytest.approx(100 * share, abs=0.51)
