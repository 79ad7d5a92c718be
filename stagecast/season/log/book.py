"""The log of a season folder at hand: what its entries may name, and how they are taken in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.base.tables import TableRow
from stagecast.knowledge import load
from stagecast.season.folder import require_folder
from stagecast.season.log.cells import (
    TREATMENT_COLUMNS,
    LogNames,
    treatment_cells,
    treatment_of,
    visit_cells,
    visit_of,
)
from stagecast.season.log.entries import (
    LOG_FILE,
    AnyEntry,
    LoggedSet,
    LoggedVisit,
    Treatment,
)
from stagecast.season.log.sets import EXAMPLE, parse_set
from stagecast.season.log.store import LogStore
from stagecast.season.log.visits import ahead_doubts, moved_doubts, same_day_doubts
from stagecast.season.rules import place_limits
from stagecast.season.settings.own_knowledge import read_own_knowledge
from stagecast.season.settings.pest_names import PestNames
from stagecast.season.settings.settings import read_settings
from stagecast.season.settings.work import SETTINGS_FILE
from stagecast.season.tables.cells import ACCEPTED_FIELD
from stagecast.season.tables.fields import read_fields

SET = "set"
"""What stands for the sets of a visit among the columns of the log's table."""

BUSY_TIMEOUT_S = 10.0
"""How long to wait for another program that writes to the log, in seconds."""

_OF_A_VISIT = {
    "stage",
    "share_percent",
    "stand_notes",
    "defoliation_percent",
    "stand_count",
    "arrived",
    "left",
}
_MOST_NAMED = 12


@dataclass(frozen=True, slots=True)
class NewEntries:
    """Entries to log: of one form or command at most one of each kind, of a table any number."""

    visits: tuple[LoggedVisit, ...] = ()
    treatments: tuple[Treatment, ...] = ()


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of entries.

    Attributes
    ----------
    entries: as they stand in the log, each with its id.
    new: ids of those that were not in it before.
    doubts: what is odd beside what the log had.
    """

    entries: tuple[AnyEntry, ...]
    new: frozenset[str]
    doubts: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class LogBook:
    """A season's log, and what its entries may name.

    A season with faults elsewhere can still be logged into: what cannot be checked is taken.

    Attributes
    ----------
    called: column of the log's table, and ``set`` -> what the person typed it into.
    """

    store: LogStore
    names: LogNames
    called: Mapping[str, str]

    @classmethod
    def of(
        cls, folder: Path, *, called: Mapping[str, str], busy_timeout_s: float = BUSY_TIMEOUT_S
    ) -> LogBook:
        """The log of a folder; SeasonProblems where it is no season folder."""
        require_folder(folder)
        if not (folder / SETTINGS_FILE).exists():
            message, step = "there is no such file", f"make it with `stagecast new {folder}`"
            raise SeasonProblems([Problem(SETTINGS_FILE, message, next_step=step)])
        knowledge = load()
        limits = place_limits(knowledge)
        settings = read_settings(folder, regions=knowledge.regions, limits=limits)
        own = read_own_knowledge(folder, settings=settings, shipped=knowledge)
        fields = read_fields(folder, year=settings.year, knowledge=knowledge)
        pests = PestNames.of(own.knowledge.pests)
        names = LogNames(settings.year, fields.field_ids, pests)
        store = LogStore(folder / LOG_FILE, busy_timeout_s=busy_timeout_s)
        return cls(store, names, called)

    def field(self, asked: str) -> str:
        """The id of the field asked for, which may be given in any case."""
        ids = self.names.field_ids
        if ids is None or asked in ids:
            return asked
        alike = [name for name in ids if name.casefold() == asked.casefold()]
        if len(alike) == 1:
            return alike[0]
        shown = sorted(ids)
        named = ", ".join(shown[:_MOST_NAMED]) + (", ..." if len(shown) > _MOST_NAMED else "")
        message = "there is no such field in fields.csv"
        accepted = named or ACCEPTED_FIELD
        raise SeasonProblems(
            [Problem(self.called["field_id"], message, found=asked, accepted=accepted)]
        )

    def entry(self, asked: str) -> AnyEntry:
        """The visit or treatment of an id, to be corrected."""
        log = self.store.all_entries()
        for visit in log.visits:
            if visit.visit_id == asked:
                return visit
        for treatment in log.treatments:
            if treatment.treatment_id == asked:
                return treatment
        step = "`stagecast log export DIR` lists what is in it"
        message = "the log has no entry of this id"
        raise SeasonProblems(
            [Problem(self.called["corrects"], message, found=asked, next_step=step)]
        )

    def sets(self, texts: Iterable[str]) -> tuple[tuple[LoggedSet, ...], list[Problem]]:
        """Sets in words, numbered in their order, and what is wrong with them."""
        sets, problems = [], []
        for number, text in enumerate(texts, start=1):
            try:
                sets.append(parse_set(text, number=number, names=self.names.pests))
            except ValueError as error:
                accepted = f'such as "{EXAMPLE}"'
                problems.append(
                    Problem(self.called[SET], str(error), found=text, accepted=accepted)
                )
        return tuple(sets), problems

    def new_entries(self, given: Mapping[str, str], set_texts: Sequence[str]) -> NewEntries:
        """A visit, a treatment or both of what was given; SeasonProblems with all that is wrong."""
        sets, problems = self.sets(set_texts)
        has_treatment = bool(given.keys() & set(TREATMENT_COLUMNS))
        has_visit = bool(set_texts or given.keys() & _OF_A_VISIT or not has_treatment)
        applied = {name: text for name, text in given.items() if name in TREATMENT_COLUMNS}
        both = {name: given[name] for name in ("field_id", "date")}
        others = {name: text for name, text in given.items() if name not in applied}
        visit = row_of(others)
        treatment = row_of(applied | (both if has_visit else others))
        seen = visit_of(visit, sets, self.names) if has_visit else None
        done = treatment_of(treatment, self.names) if has_treatment else None
        self._refuse([*visit.problems, *treatment.problems], problems)
        return NewEntries((seen,) if seen else (), (done,) if done else ())

    def correction(
        self, old: AnyEntry, given: Mapping[str, str], set_texts: Sequence[str] | None
    ) -> NewEntries:
        """The entry with what was given in place of what it said; a share goes with its stage.

        Sets that are None stay as they were.
        """
        sets, problems = self.sets(set_texts or ())
        cells = {"share_percent": ""} if "stage" in given else {}
        if isinstance(old, LoggedVisit):
            cells = visit_cells(old) | {"visit_id": "", "corrects": old.visit_id} | cells
            row = row_of({**cells, **given})
            visit = visit_of(row, old.sets if set_texts is None else sets, self.names)
            self._refuse(row.problems, problems)
            return NewEntries((visit,) if visit else ())
        cells = treatment_cells(old) | {"visit_id": "", "corrects": old.treatment_id} | cells
        row = row_of({**cells, **given, **({"set": "1"} if set_texts else {})})
        treatment = treatment_of(row, self.names)
        self._refuse(row.problems, problems)
        return NewEntries((), (treatment,) if treatment else ())

    def record(
        self,
        entries: NewEntries,
        *,
        entered_at: dt.datetime,
        label: str = LOG_FILE,
        lines: Mapping[str, int] | None = None,
    ) -> Recorded:
        """Add entries; each is on the disk when this returns.

        ``label`` and ``lines`` say where they come from, as :meth:`LogStore.add` has it.
        """
        before = self.store.read()
        report = self.store.add(
            entries.visits,
            entries.treatments,
            entered_at=entered_at,
            label=label,
            lines=lines or {},
        )
        new = frozenset(report.new)
        seen = [visit for visit in report.visits if visit.visit_id in new]
        done = [one for one in report.treatments if one.treatment_id in new]
        doubts = [
            *same_day_doubts(seen, before),
            *moved_doubts([*seen, *done], before),
            *ahead_doubts([*seen, *done], today=entered_at.date()),
        ]
        return Recorded((*report.visits, *report.treatments), new, tuple(doubts))

    def told(self, problem: Problem) -> Problem:
        """A problem of a row, told of what the person typed its cell into."""
        message = problem.message.replace("this cell must not be blank", "this is needed")
        place = self.called.get(problem.column or "", self.called[SET])
        return replace(problem, file=place, message=message, line=None, column=None, field_id=None)

    def _refuse(self, of_rows: Iterable[Problem], of_sets: Iterable[Problem]) -> None:
        errors = [self.told(problem) for problem in of_rows if not problem.doubtful]
        errors += of_sets
        if errors:
            raise SeasonProblems(list(dict.fromkeys(errors)))


def row_of(cells: Mapping[str, str]) -> TableRow:
    """What was given, as a row of the log's table would give it."""
    stripped = {name: text.strip() for name, text in cells.items()}
    return TableRow("log add", 0, stripped)
