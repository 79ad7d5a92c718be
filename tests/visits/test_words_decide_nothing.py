"""Decisions rest on values: other names, titles and notes move no visit and mark nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from log_builder import at, log_of, sets_of, treatment, visit
from pydantic import BaseModel
from season_builder import (
    ONE_DAY,
    FieldLine,
    StationFile,
    VisitLine,
    build_season,
    day,
)

from stagecast.forecast.load import read_folder
from stagecast.knowledge import Knowledge, load
from stagecast.pests.windows import TimedByHeat
from stagecast.season.log.entries import ScoutingLog
from stagecast.visits.interval import Interval
from stagecast.visits.look_for import PestSign, pests_named
from stagecast.visits.reentry import EfficacyCheck
from stagecast.visits.revisit import FirstVisit, NextVisit, NotEmerged, PulledForward
from stagecast.visits.season_day import SeasonDay
from stagecast.words.visits import look_for_texts, reason_texts

SEEN = day(7, 14)
AS_OFS = (day(5, 1), day(6, 3), day(6, 13), day(6, 23), day(7, 16), day(9, 20))
SAID = ("name", "short", "title", "note", "text", "why", "damage", "caution", "how")
"""What a person reads of a pest, an event or a window, and no rule may."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three fields: one with words for the pressure, one counted, one treated."""
    return build_season(
        tmp_path_factory.mktemp("words"),
        fields=[FieldLine(f"F{i}", day(4, 20) + 9 * i * ONE_DAY) for i in (1, 2, 3)],
        stations=(StationFile(),),
        visits=(
            *(VisitLine("F1", day(6, n), "virtually none") for n in (2, 12, 22)),
            VisitLine("F2", SEEN, "some"),
        ),
    )


def logged() -> ScoutingLog:
    """Counts in one field, a treatment in another."""
    return log_of(
        visit(SEEN + ONE_DAY, sets_of("stink-bugs", (2, 3, 1, 4)), field_id="F2"),
        treatment(at(7, 15, 9), 24, field_id="F3"),
    )


def reworded(model: Any, word: str) -> Any:
    """The same knowledge with every text for people replaced by a word; ids and numbers stay."""
    if isinstance(model, BaseModel):
        values = {key: reworded(value, word) for key, value in model.__dict__.items()}
        said = {key: word for key in SAID if isinstance(values.get(key), str) and values[key]}
        return model.model_copy(update={**values, **said})
    if isinstance(model, dict):
        return {key: reworded(value, word) for key, value in model.items()}
    if isinstance(model, tuple | list):
        return type(model)(reworded(value, word) for value in model)
    return model


def decided(folder: Path, knowledge: Knowledge | None) -> Iterator[SeasonDay]:
    """The season on several days, by other knowledge where it is given."""
    read = read_folder(folder, log=logged())
    if knowledge is not None:
        read = replace(read, season=replace(read.season, knowledge=knowledge))
    for as_of in AS_OFS:
        yield SeasonDay(read, as_of)


def marks(one: NextVisit) -> tuple[Any, ...]:
    """All that is decided of a visit, and nothing that is said of it."""
    kinds = [type(reason) for reason in one.reasons]
    signs = [x.pest.id for x in one.look_for if isinstance(x, PestSign)]
    return (
        one.due, one.interval_days, one.not_before, one.pulled, one.sample, kinds, signs,
        pests_named(one.look_for),
    )  # fmt: skip


@pytest.mark.parametrize("word", ["unverified", "pulled forward"])
def test_other_words_change_no_decision(word: str, folder: Path) -> None:
    """Every name, title, note and sentence replaced: the same days, reasons, looks and marks."""
    other = reworded(load(), word)
    assert other.pests["stink-bugs"].name == word
    seen: set[type] = set()
    for plain, odd in zip(decided(folder, None), decided(folder, other), strict=True):
        for one, two in zip(plain.fields, odd.fields, strict=True):
            assert marks(two.visit) == marks(one.visit)
            assert [
                (w.window, w.opens, w.timing, w.unverified, type(w.why)) for w in two.windows
            ] == [(w.window, w.opens, w.timing, w.unverified, type(w.why)) for w in one.windows]
            seen |= {type(reason) for reason in one.visit.reasons}
    assert {Interval, PulledForward, EfficacyCheck, NotEmerged, FirstVisit} <= seen


def test_windows_rest_on_memory_by_the_tags_of_their_values(folder: Path) -> None:
    """A window by heat is unverified where one of its values is from memory, and only there."""
    found = set()
    (plan,) = [p for p in SeasonDay(read_folder(folder), SEEN).fields if p.field_id == "F1"]
    for window in plan.windows:
        why = window.why
        if isinstance(why, TimedByHeat):
            tags = {why.model.tag, why.model.method_tag, why.event.tag, why.start.biofix.tag}
            assert window.unverified == ("MEMORY" in tags)
            recalled = replace(why, event=why.event.model_copy(update={"tag": "MEMORY"}))
            assert replace(window, why=recalled).unverified
            found.add(window.pest)
        else:
            assert not window.unverified
    assert found


def test_every_reason_and_look_is_said(folder: Path) -> None:
    """The words have a sentence for each kind that comes up, with no value shown raw."""
    for season in decided(folder, None):
        for plan in season.fields:
            said = reason_texts(plan.visit, season.knowledge.decisions.treated)
            assert len(said) == len(plan.visit.reasons) > 0
            assert not any(
                "(" in text.partition(" ")[0]
                for text in [*said, *look_for_texts(plan.visit.look_for)]
            )
