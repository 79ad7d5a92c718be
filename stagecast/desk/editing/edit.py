"""Fields, blocked times, traps and ways changed at the desk, with what `check` says beside.

The files are the person's own: only the cells and lines that were changed are other bytes
afterwards. Each form carries what it began with, so that a change of somebody else is told, and
what was typed stays in the form.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from stagecast.base.errors import Problem, StoreError
from stagecast.base.rewrite import NoPlace, rewritten
from stagecast.base.tables import table_of
from stagecast.desk.editing import settings
from stagecast.desk.editing.tables import TABLES, EditTable
from stagecast.desk.editing.told import CHANGED, NUMBER, STALE, edit_page, problem_text, said
from stagecast.desk.messages import link, shown
from stagecast.desk.sent import read_texts
from stagecast.desk.shared import Desk
from stagecast.season.edited import (
    ChangedMeanwhile,
    digest_of,
    problems_of,
    read_file,
    save_checked,
)
from stagecast.season.settings.work import SETTINGS_FILE

GONE = "This row is no longer in {}. What you typed stands below; saved, it becomes a new row."
NEW = "new"


@dataclass(frozen=True, slots=True)
class OpenTable:
    """A table as it stands in its file now.

    Attributes
    ----------
    rows: first line of each row -> its cells by column, as the form names them.
    """

    table: EditTable
    raw: bytes
    header: tuple[str, ...]
    rows: Mapping[int, Mapping[str, str]]

    @classmethod
    def read(cls, folder: Path, table: EditTable) -> OpenTable:
        """The file of a folder; without rows where there is none."""
        raw = read_file(folder, table.file)
        read = table_of(raw, label=table.file)
        called = table.in_file(read.header)
        rows = {
            line: {column: cells.get(name, "") for column, name in called.items()}
            for line, cells in read.lines
        }
        return cls(table, raw, read.header, rows)

    def with_row(self, line: int | None, cells: Mapping[str, str]) -> bytes:
        """The file with other cells in a row, or with one more row; NoPlace where it is not."""
        called = self.table.in_file(self.header)
        said = {called[column]: text for column, text in cells.items()}
        if line is not None:
            return rewritten(self.raw, changed={line: said})
        raw = self.raw
        if not self.header:
            named = [called[one.name] for one in self.table.shown(self.header)]
            raw = (",".join(named) + "\n").encode()
        return rewritten(raw, added=[{name: text.strip() for name, text in said.items()}])

    def without(self, line: int) -> bytes:
        """The file without a row."""
        return rewritten(self.raw, removed=[line])


@dataclass(frozen=True, slots=True)
class TypedRow:
    """A row as a form sent it.

    Attributes
    ----------
    line: where it stood; None for a new one.
    opened: digest of the file then.
    began: cells of the row then.
    """

    line: int | None
    opened: str
    began: Mapping[str, str]
    cells: Mapping[str, str]
    form_token: str = ""
    removes: bool = False

    @property
    def changes(self) -> dict[str, str]:
        """The cells that a person changed; of a new row those that say anything."""
        return {c: text for c, text in self.cells.items() if text.strip() != self.began.get(c, "")}


def typed_row(texts: Mapping[str, str], table: EditTable) -> TypedRow:
    """The row of a form; what the table does not have is left aside."""
    names = [one.name for one in table.columns]
    line = texts.get("line", NEW)
    return TypedRow(
        int(line) if NUMBER.fullmatch(line) else None,
        texts.get("opened", ""),
        {name: texts.get(f"o-{name}", "") for name in names},
        {name: texts[f"c-{name}"] for name in names if f"c-{name}" in texts},
        texts.get("form_token", ""),
        texts.get("act") == "remove",
    )


def routes(desk: Desk) -> list[BaseRoute]:
    """The pages on which a season's files are changed."""
    pages = EditPages(desk)
    return [
        Route("/edit", pages.start),
        Route("/edit/table", pages.table),
        Route("/edit/row", pages.row),
        Route("/edit/row", pages.take_row, methods=["POST"]),
        *settings.routes(desk),
    ]


class EditPages:
    """What may be changed, and its forms."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.season = desk.season

    # -- what there is ------------------------------------------------------------------------

    def start(self, request: Request) -> Response:
        """What may be changed, and all that is wrong or doubtful."""
        found = problems_of(self.season.folder)
        files = [(SETTINGS_FILE, "Settings", "/edit/settings")]
        files += [(one.file, one.title, link("edit/table", of=one.id)) for one in TABLES]
        listed = [
            {"title": title, "href": href, "file": file, "told": _how_many(found, file)}
            for file, title, href in files
        ]
        return edit_page(self.desk, "desk_edit.html", title="Change the season", files=listed,
                          problems=_sentences(found))  # fmt: skip

    def table(self, request: Request) -> Response:
        """The rows of a table."""
        table = _table(request)
        opened = OpenTable.read(self.season.folder, table)
        found = [p for p in problems_of(self.season.folder) if p.file == table.file]
        by_line: dict[int | None, list[str]] = {}
        for problem in found:
            line = problem.line if problem.line in opened.rows else None
            by_line.setdefault(line, []).append(problem_text(problem))
        rows = [
            {
                "href": link("edit/row", of=table.id, line=str(line)),
                "head": _head(table, cells),
                "problems": by_line.get(line, ()),
            }
            for line, cells in opened.rows.items()
        ]
        return edit_page(self.desk, 
            "desk_edit_table.html", title=table.title, file=table.file, row=table.row, rows=rows,
            new=link("edit/row", of=table.id, line=NEW), problems=by_line.get(None, []),
            told=said(request, "removed", f"Taken out of {table.file}."),
        )  # fmt: skip

    def row(self, request: Request) -> Response:
        """The form of a row; of a field also by its id."""
        table = _table(request)
        opened = OpenTable.read(self.season.folder, table)
        asked = request.query_params
        line = _line_asked(opened, asked.get("line", ""), asked.get("field", ""))
        began = dict(opened.rows[line]) if line is not None else {}
        if line is None and "field_id" in {one.name for one in table.columns}:
            began["field_id"] = asked.get("field", "")
        typed = TypedRow(line, digest_of(opened.raw), began if line else {}, began)
        told = said(request, "saved", f"Saved in {table.file}.")
        return self._row_page(opened, typed, problems=problems_of(self.season.folder), told=told)

    # -- what is sent -------------------------------------------------------------------------

    async def take_row(self, request: Request) -> Response:
        """Save a row, or take it out."""
        table = _table(request)
        texts = read_texts(await request.body())
        return await run_in_threadpool(lambda: self._take_row(typed_row(texts, table), table))

    def _take_row(self, typed: TypedRow, table: EditTable) -> Response:
        folder = self.season.folder
        opened = OpenTable.read(folder, table)
        if not self.desk.takes(typed.form_token):
            return self._row_page(opened, typed, wrong=[STALE], status=403)
        if digest_of(opened.raw) != typed.opened:
            return self._changed(opened, typed)
        if typed.line is None and not any(text.strip() for text in typed.cells.values()):
            return self._row_page(opened, typed, wrong=["Nothing was typed yet."], status=422)
        try:
            if typed.removes and typed.line is not None:
                data = opened.without(typed.line)
            else:
                data = opened.with_row(typed.line, typed.changes)
            brought = save_checked(folder, table.file, data, opened=typed.opened)
        except (ChangedMeanwhile, NoPlace):
            return self._changed(OpenTable.read(folder, table), typed)
        except StoreError as error:
            return self._row_page(opened, typed, wrong=error.sentences(), status=409)
        if brought:
            return self._row_page(opened, typed, problems=brought, refused=True, status=422)
        if typed.removes:
            return RedirectResponse(link("edit/table", of=table.id, removed="1"), 303)
        lines = OpenTable.read(folder, table).rows
        line = max(lines) if typed.line is None else typed.line
        return RedirectResponse(link("edit/row", of=table.id, line=str(line), saved="1"), 303)

    def _changed(self, opened: OpenTable, typed: TypedRow) -> Response:
        """The form again where the file was changed by somebody else, with what stands there."""
        line = _same_row(opened, typed)
        file = opened.table.file
        now = {} if line is None else opened.rows[line]
        wrong = [CHANGED.format(file)]
        if line is None and typed.line is not None:
            wrong = [GONE.format(file)]
        theirs = {c: text for c, text in now.items() if text != typed.began.get(c, "")}
        mine = typed.changes
        cells = {**typed.cells, **{c: text for c, text in theirs.items() if c not in mine}}
        again = replace(typed, line=line, opened=digest_of(opened.raw), began=now, cells=cells)
        return self._row_page(opened, again, wrong=wrong, theirs=theirs, status=409)

    # -- what is shown ------------------------------------------------------------------------

    def _row_page(
        self,
        opened: OpenTable,
        typed: TypedRow,
        *,
        problems: Sequence[Problem] = (),
        wrong: Sequence[str] = (),
        told: Sequence[str] = (),
        theirs: Mapping[str, str] | None = None,
        refused: bool = False,
        status: int = 200,
    ) -> Response:
        table = opened.table
        columns = table.shown(opened.header)
        called = {name: column for column, name in table.in_file(opened.header).items()}
        line = typed.line
        if line is None and refused:
            line = max((p.line or 0 for p in problems if p.file == table.file), default=0)
        of_row = [p for p in problems if p.file == table.file and p.line == line and p.line]
        beside: dict[str, list[str]] = {}
        for problem in of_row:
            column = called.get(problem.column or "", problem.column or "")
            beside.setdefault(column, []).append(problem_text(problem, place=False))
        shown_columns = {one.name for one in columns}
        above = [text for c, texts in beside.items() if c not in shown_columns for text in texts]
        if refused:
            above += [p.sentence() for p in problems if p not in of_row]
        began = typed.began
        head = _head(table, began) if typed.line is not None else f"New {table.row}"
        return edit_page(
            self.desk,
            "desk_edit_row.html",
            status=status,
            title=f"{table.title}: {head}" if typed.line is not None else head,
            table=table.title,
            file=table.file,
            back=link("edit/table", of=table.id),
            draft_name="" if typed.line is None else f"{table.id} {head}",
            told=told,
            wrong=shown([*wrong, *above]),
            refused=refused or bool(wrong),
            inputs=[
                {
                    "name": one.name,
                    "label": one.label,
                    "hint": one.hint,
                    "long": one.long,
                    "value": typed.cells.get(one.name, ""),
                    "began": began.get(one.name, ""),
                    "problems": beside.get(one.name, ()),
                    "theirs": (theirs or {}).get(one.name),
                }
                for one in columns
            ],
            line=NEW if typed.line is None else typed.line,
            opened=typed.opened,
            removable=typed.line is not None,
            row=table.row,
        )


def _table(request: Request) -> EditTable:
    asked = request.query_params.get("of", "")
    found = next((one for one in TABLES if one.id == asked), None)
    if found is None:
        raise HTTPException(404, "There is no such table.")
    return found


def _line_asked(opened: OpenTable, line: str, field_id: str) -> int | None:
    """The row asked for by line, or a field's by its id; None for a new one."""
    if line == NEW:
        return None
    if NUMBER.fullmatch(line) and int(line) in opened.rows:
        return int(line)
    by_id = [at for at, cells in opened.rows.items() if cells.get("field_id") == field_id != ""]
    if not by_id:
        raise HTTPException(404, f"There is no such row in {opened.table.file}.")
    return by_id[0]


def _same_row(opened: OpenTable, typed: TypedRow) -> int | None:
    """Where the row of a form is now: as it was, or under the same id; None where it is not."""
    if typed.line is None:
        return None
    first = opened.table.columns[0].name
    tests: tuple[Callable[[Mapping[str, str]], bool], ...] = (
        lambda cells: cells == typed.began,
        lambda cells: cells.get(first) == typed.began.get(first) and opened.table.id == "fields",
    )
    for test in tests:
        found = [line for line, cells in opened.rows.items() if test(cells)]
        if typed.line in found:
            return typed.line
        if found:
            return found[0]
    return None


def _head(table: EditTable, cells: Mapping[str, str]) -> str:
    named = (cells.get(one.name, "") for one in table.columns[: table.named])
    return ", ".join(filter(None, named)) or "a row without a name"


def _how_many(problems: Sequence[Problem], file: str) -> str:
    """How much is wrong and how much doubtful in a file, in words; "" for nothing."""
    here = [p.doubtful for p in problems if p.file == file]
    parts = [f"{here.count(False)} wrong"] * (False in here)
    return ", ".join([*parts, *([f"{here.count(True)} doubtful"] * (True in here))])


def _sentences(problems: Sequence[Problem]) -> list[str]:
    return shown([problem_text(problem) for problem in problems])
