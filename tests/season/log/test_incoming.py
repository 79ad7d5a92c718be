"""A table beside the log: what is new, known, changed or a second visit, and what is logged."""

from __future__ import annotations

import datetime as dt
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.knowledge import load
from stagecast.season.log.cells import COLUMNS, LogNames
from stagecast.season.log.entries import LOG_FILE, entry_id
from stagecast.season.log.incoming import Choice, Incoming, entries_to_log, held_against
from stagecast.season.log.store import LogStore
from stagecast.season.log.table import HEADER, read_log_bytes, write_log_csv
from stagecast.season.settings.pest_names import PestNames

NAMES = LogNames(2026, frozenset({"F1", "F2"}), PestNames.of(load().pests))
NOW = dt.datetime(2026, 7, 6, 15, 0)


@pytest.fixture
def store(tmp_path: Path) -> LogStore:
    """An empty log."""
    return LogStore(tmp_path / LOG_FILE)


def row(**cells: str) -> dict[str, str]:
    """A row of a visit to F1."""
    return {"field_id": "F1", "date": "2026-07-06", **cells}


def table(*lines: dict[str, str]) -> bytes:
    """A table of rows that give only some cells."""
    body = (",".join(line.get(name, "") for name in COLUMNS) for line in lines)
    return "\n".join([HEADER, *body, ""]).encode()


def beside(store: LogStore, raw: bytes) -> tuple[Incoming, ...]:
    """A table beside the log."""
    read = read_log_bytes(raw, names=NAMES, label="log.csv")
    assert not [p for p in read.problems if not p.doubtful]
    return held_against(read, store.all_entries())


def log(store: LogStore, raw: bytes, choice: Choice | None = None) -> list[Incoming]:
    """Log a table with one choice for all; what nobody said anything of."""
    found = beside(store, raw)
    chosen: dict[str, Choice] = {} if choice is None else {
        one.id: choice for one in found if one.choices
    }  # fmt: skip
    entries, lines, open_ = entries_to_log(found, chosen)
    if not open_:
        store.add(entries.visits, entries.treatments, entered_at=NOW, lines=lines)
    return open_


def kinds(found: tuple[Incoming, ...]) -> list[str]:
    """What each is."""
    return [one.kind for one in found]


def standing(store: LogStore) -> list[str | None]:
    """The stages that stand in the log."""
    return [visit.stage for visit in store.read().visits]


def test_a_new_table_is_new_once(store: LogStore) -> None:
    """What was logged from a table is known when the very same table comes again."""
    raw = table(row(stage="R3"), row(field_id="F2", stage="R4"))
    assert kinds(beside(store, raw)) == ["new", "new"]
    assert log(store, raw) == []
    assert kinds(beside(store, raw)) == ["known", "known"]
    assert log(store, raw) == []
    assert standing(store) == ["R3", "R4"]


@pytest.mark.parametrize("id_", ["", "mine"])
def test_a_changed_row_waits_for_an_answer(store: LogStore, id_: str) -> None:
    """A row that says something else of a visit is logged only as somebody said; and then once."""
    log(store, table(row(visit_id=id_, stage="R3")))
    raw = table(row(visit_id=id_, stage="R4"))
    (one,) = beside(store, raw)
    assert one.kind == ("changed" if id_ else "second")
    assert one.before is not None
    assert one.choices[0] == "instead"
    assert log(store, raw) == [one]
    assert standing(store) == ["R3"]
    assert log(store, raw, "leave") == []
    assert standing(store) == ["R3"]
    assert log(store, raw, "instead") == []
    assert standing(store) == ["R4"]
    assert [visit.stage for visit in store.all_entries().visits] == ["R3", "R4"]
    assert kinds(beside(store, raw)) == ["known"]


def test_both_visits_of_a_day_may_stand(store: LogStore) -> None:
    """A second visit of a day is kept beside the first where a person says so."""
    log(store, table(row(visit_id="one", stage="R3")))
    raw = table(row(visit_id="two", stage="R4"))
    assert log(store, raw, "beside") == []
    assert standing(store) == ["R3", "R4"]
    assert kinds(beside(store, raw)) == ["known"]


def test_a_taken_id_cannot_stand_beside(store: LogStore) -> None:
    """Nothing in the log is changed: a row whose id is taken goes instead, or is left."""
    log(store, table(row(visit_id="one", stage="R3")))
    raw = table(row(visit_id="one", stage="R4"))
    assert [one.choices for one in beside(store, raw)] == [("instead", "leave")]
    assert log(store, raw, "beside")


def test_an_old_table_brings_nothing_back(store: LogStore) -> None:
    """What was corrected in the log since is known, and its first version is not new again."""
    old = table(row(visit_id="one", stage="R3"))
    log(store, old)
    log(store, table(row(visit_id="one", stage="R4")), "instead")
    assert kinds(beside(store, old)) == ["known"]
    log(store, table(row(visit_id="one", stage="R5")), "instead")
    assert standing(store) == ["R5"]


def test_a_version_between_is_known_too(store: LogStore) -> None:
    """A row that was corrected, and its correction corrected again, brings neither one back."""
    log(store, table(row(visit_id="a", stage="R1")))
    between = row(visit_id="a", stage="R2")
    log(store, table(between), "instead")
    log(store, table(between, row(visit_id="b", stage="R3")), "instead")
    assert standing(store) == ["R3"]
    assert kinds(beside(store, table(between))) == ["known"]


def test_versions_of_a_phone_follow_one_another(store: LogStore) -> None:
    """A phone sends every version; a later one follows also where the first went instead."""
    log(store, table(row(visit_id="desk", stage="R2")))
    first, later = row(visit_id="p1", stage="R3"), row(visit_id="p2", stage="R4", corrects="p1")
    found = beside(store, table(first, later))
    assert kinds(found) == ["second", "new"]
    assert log(store, table(first, later), "instead") == []
    assert standing(store) == ["R4"]
    assert kinds(beside(store, table(first, later))) == ["known", "known"]


def test_a_treatment_is_changed_by_its_id(store: LogStore) -> None:
    """A treatment of an id that is taken goes in the place of the old one."""
    sprayed = row(kind="treatment", visit_id="t", product="x", time="14:30", reentry_hours="12")
    log(store, table(sprayed))
    assert log(store, table({**sprayed, "reentry_hours": "24"}), "instead") == []
    assert [one.reentry_hours for one in store.read().treatments] == [24]


stages = st.sampled_from(["R1", "R2", "R3", "R4"])
visits = st.builds(
    lambda field, id_, stage: row(field_id=field, visit_id=id_, stage=stage),
    st.sampled_from(["F1", "F2"]), st.sampled_from(["a", "b", "c"]), stages,
)  # fmt: skip


@given(
    st.lists(st.lists(visits, min_size=1, max_size=3, unique_by=lambda one: one["visit_id"]),
             min_size=1, max_size=4),
    st.sampled_from(["instead", "leave"]),
)  # fmt: skip
def test_a_table_twice_is_as_good_as_once(
    tables: list[list[dict[str, str]]], choice: Choice
) -> None:
    """Whatever was logged before: a table that was taken adds nothing when it is taken again."""
    with tempfile.TemporaryDirectory() as folder:
        store = LogStore(Path(folder) / LOG_FILE)
        for lines in tables:
            raw, found = table(*lines), beside(store, table(*lines))
            befores = [entry_id(one.before) for one in found if one.before and one.choices]
            if len(set(befores)) < len(befores) and choice == "instead":
                continue  # two rows in the place of one: the log refuses, and a person mends it
            assert log(store, raw, choice) == []
            after = write_log_csv(store.all_entries())
            assert log(store, raw, choice) == []
            assert write_log_csv(store.all_entries()) == after


def test_an_entry_of_another_kind_is_not_alike(store: LogStore) -> None:
    """A visit under the id of a treatment is no version of it: the log refuses it with a reason."""
    store.add(
        treatments=[
            replace(t, treatment_id="x")
            for t in read_log_bytes(
                table(row(kind="treatment", product="x", time="14:30", reentry_hours="12")),
                names=NAMES, label="log.csv",
            ).treatments
        ],
        entered_at=NOW,
    )  # fmt: skip
    (one,) = beside(store, table(row(visit_id="x", stage="R3")))
    assert one.kind == "changed"
