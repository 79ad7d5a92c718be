"""The screen of fields by need: which pests a row names."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from changed import changed
from season_builder import StationFile, build_season, day

from stagecast.screens.plan import pests_text
from stagecast.visits.season_day import SeasonDay

AS_OF = day(7, 20)


def test_a_pest_whose_name_begins_like_anothers_hides_none(tmp_path: Path) -> None:
    """Own pest "redbanded young" stands in the row beside "redbanded": pests go by id, not name."""
    folder = build_season(tmp_path, stations=(StationFile(),))
    plan = SeasonDay.open(folder, as_of=AS_OF)
    (field,) = plan.fields
    known = next(w for w in field.windows if w.pest == "redbanded-stink-bug")
    own = replace(known, pest="own", short=f"{known.short} young", rank=1, ranks=None)
    known = replace(known, rank=2, ranks=None)
    again = replace(known, window="another activity")
    row = pests_text(changed(field, windows=(own, known, again)), most=9)
    assert row.split(", ") == [own.short, known.short]
