"""What is from memory: few values, named here, and none that decides where to go or what to do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from season_builder import FieldLine, StationFile, build_season, day

from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import load_season
from stagecast.knowledge import Knowledge, load
from stagecast.words.sources import source_rows

KNOWLEDGE = load()
MEMORY = [row for row in source_rows(KNOWLEDGE) if row.tag == "MEMORY"]
MOST = 25


def test_few_values_are_from_memory() -> None:
    """At most 25 values are recalled, by the list that ``stagecast sources`` prints."""
    assert len(MEMORY) <= MOST


def test_nothing_of_a_pest_or_its_rank_is_from_memory() -> None:
    """Where a pest is met, what times it, and its thresholds, ends, returns and ranks were read.

    What is left: how many nodes determinate beans add, and two spans of the plain rule that
    ``stagecast skill`` holds the forecast against.
    """
    assert {row.place for row in MEMORY} == {
        "soybean.nodes.determinate_stop",
        "soybean.nodes.determinate_stop_from",
        "soybean.averages.planting_ve",
        "soybean.averages.r7_r8",
    }


def forecast(folder: Path, knowledge: Knowledge) -> FieldForecast:
    """The forecast of the only field, determinate beans of group 6, in August."""
    (found,) = forecast_season(load_season(folder, as_of=day(8, 1), shipped=knowledge))
    return found


@pytest.mark.parametrize(
    ("part", "name", "value"),
    [
        ("nodes", "determinate_stop", 9.0),
        ("nodes", "determinate_stop_from", 9.0),
        ("averages", "planting_ve", 30.0),
        ("averages", "r7_r8", 30.0),
    ],
)
def test_what_is_left_from_memory_moves_no_stage(
    tmp_path: Path, part: str, name: str, value: float
) -> None:
    """With another value in its place every stage of a determinate field comes on the same days."""
    field = FieldLine(maturity_group="6.0", growth_habit="determinate")
    build_season(tmp_path, fields=[field], stations=(StationFile(),))
    soybean = KNOWLEDGE.soybean
    other = getattr(soybean, part)
    other = other.model_copy(
        update={name: getattr(other, name).model_copy(update={"value": value})}
    )
    told = KNOWLEDGE.model_copy(update={"soybean": soybean.model_copy(update={part: other})})
    ours, theirs = forecast(tmp_path, KNOWLEDGE), forecast(tmp_path, told)
    np.testing.assert_array_equal(ours.times, theirs.times)
    assert ours.stage_now == theirs.stage_now
