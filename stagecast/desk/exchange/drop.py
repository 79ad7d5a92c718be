"""A phone's table or a spreadsheet dropped on the desk: looked at first, then logged."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast, get_args

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from stagecast.base.errors import Problem, SeasonProblems, StoreError
from stagecast.desk.entry.entries import said
from stagecast.desk.messages import answer_to, link, page, shown, to_ask
from stagecast.desk.sent import Sent, read_parts
from stagecast.desk.shared import Desk
from stagecast.pages.render import render
from stagecast.screens.screen import day_text
from stagecast.season.log.book import LogBook, NewEntries, Recorded
from stagecast.season.log.entries import (
    AnyEntry,
    ScoutingLog,
    day_of_entry,
    entry_id,
    kind_of_entry,
)
from stagecast.season.log.incoming import (
    Choice,
    Incoming,
    Kind,
    entries_to_log,
    held_against,
)
from stagecast.season.log.table import LogTable, read_log_bytes
from stagecast.season.log.visits import moved_doubts
from stagecast.words.log_entries import entry_text
from stagecast.words.notes import counted

LARGEST = 1_400_000
"""Bytes of a table: with it the second form, which carries it along, is one that is taken."""

PASTED = "what was pasted"
_CHOICES: dict[Choice, str] = {
    "instead": "log it in the place of what the log has",
    "beside": "log it beside what the log has: both were looked at",
    "leave": "leave it out",
}
_HEADS: dict[Kind, str] = {
    "changed": "Changed since it was logged",
    "second": "The log has another visit to the field on this day",
    "new": "New",
    "known": "In the log already",
}
_STALE = "the desk was started anew since this page was opened: nothing is logged yet"


@dataclass(frozen=True, slots=True)
class Dropped:
    """A table that was sent.

    Attributes
    ----------
    name: of its file, as a person would say it.
    chosen: number of an entry in the table -> choice and the id in the log that it was made beside.
    seen: of the doubts that a person saw; "" before anybody looked.
    """

    name: str
    raw: bytes
    chosen: Mapping[int, tuple[str, str]]
    seen: str = ""
    form_token: str = ""


def dropped_of(sent: Sent) -> Dropped:
    """The table of a form: carried along, in a file, or pasted; SeasonProblems without one."""
    texts = sent.texts
    name, raw = sent.files.get("table", ("", b""))
    if texts.get("carried"):
        name = texts.get("name", "")
        try:
            raw = base64.b64decode(texts["carried"], validate=True)
        except binascii.Error as error:
            raise SeasonProblems.of("Form", "the table did not arrive whole") from error
    elif not raw and texts.get("pasted", "").strip():
        name, raw = texts.get("name") or PASTED, texts["pasted"].encode("utf-8", "replace")
    if not raw:
        message, step = "there is no table in it", "choose a file, or paste its rows"
        raise SeasonProblems.of("Form", message, next_step=step)
    if len(raw) > LARGEST:
        message = f"a table of more than {LARGEST:,} bytes"
        step = "take it in with `stagecast log import DIR FILE`"
        raise SeasonProblems.of(name or "table", message, next_step=step)
    chosen = {}
    for key, text in texts.items():
        how, _, number = key.partition("-")
        if how == "how" and number.isascii() and number.isdigit() and len(number) < 9:
            choice, _, before = text.partition(" ")
            chosen[int(number)] = (choice, before)
    return Dropped(name or "table", raw, chosen, texts.get("seen", ""), texts.get("form_token", ""))


@dataclass(frozen=True, slots=True)
class Looked:
    """A dropped table beside the log, and what is doubtful about it."""

    table: LogTable
    incoming: tuple[Incoming, ...]
    doubts: tuple[str, ...]
    errors: tuple[Problem, ...]

    @property
    def seen(self) -> str:
        """Stands for all that a person is shown; with another log or other doubts it is another."""
        told = [f"{one.kind} {one.id} {_before_id(one)}" for one in self.incoming]
        return answer_to([*told, *self.doubts])


def routes(desk: Desk) -> list[BaseRoute]:
    """The page that takes tables."""
    pages = DropPages(desk)
    return [Route("/drop", pages.empty), Route("/drop", pages.take, methods=["POST"])]


class DropPages:
    """What is shown of a table, and what becomes of it."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def empty(self, request: Request) -> Response:
        """The page before anything is dropped."""
        return self._page()

    async def take(self, request: Request) -> Response:
        """Look at a table, or log what was looked at."""
        body, kind = await request.body(), request.headers.get("content-type", "")
        return await run_in_threadpool(lambda: self._take(body, kind))

    def _take(self, body: bytes, content_type: str) -> Response:
        try:
            dropped = dropped_of(read_parts(body, content_type))
        except SeasonProblems as error:
            return self._page(wrong=error.sentences(), status=422)
        book = self.desk.book()
        looked = self._look(dropped, book)
        if not self.desk.takes(dropped.form_token):
            return self._page(dropped, looked, wrong=[_STALE], status=403)
        if not dropped.seen or looked.errors:
            return self._page(dropped, looked, status=422 if looked.errors else 200)
        if dropped.seen != looked.seen:
            told = ["The log changed meanwhile: look it over once more. Nothing is logged yet."]
            return self._page(dropped, looked, wrong=told, status=409)
        return self._log(dropped, looked, book)

    def _look(self, dropped: Dropped, book: LogBook) -> Looked:
        table = read_log_bytes(dropped.raw, names=book.names, label=dropped.name)
        errors = tuple(problem for problem in table.problems if not problem.doubtful)
        every = book.store.all_entries()
        incoming = () if errors else held_against(table, every)
        return Looked(table, incoming, tuple(self._doubts(table, incoming, every)), errors)

    def _doubts(
        self, table: LogTable, incoming: Sequence[Incoming], every: ScoutingLog
    ) -> list[str]:
        """What is odd about the table, and about what it would add."""
        fresh = [one.entry for one in incoming if one.kind != "known"]
        told = [p.sentence() for p in (*table.problems, *moved_doubts(fresh, every)) if p.doubtful]
        if table.us_order:
            told.append("Dates with slashes were read as month/day/year.")
        added = NewEntries(tuple(e for e in table.visits if e in fresh))
        return [*told, *to_ask(added, as_of=self.desk.season.as_of)]

    def _log(self, dropped: Dropped, looked: Looked, book: LogBook) -> Response:
        chosen = {
            one.id: cast(Choice, choice)
            for number, one in enumerate(looked.incoming)
            for choice, before in [dropped.chosen.get(number, ("", ""))]
            if choice in get_args(Choice) and before == _before_id(one)
        }
        entries, lines, open_ = entries_to_log(looked.incoming, chosen)
        if open_:
            told = [f"Say of {_head(one.entry)} how it is to be taken." for one in open_]
            return self._page(dropped, looked, wrong=told, chosen=chosen, status=422)
        try:
            recorded = book.record(
                entries, entered_at=self.desk.season.clock(), label=dropped.name, lines=lines
            )
        except SeasonProblems as error:
            told = error.sentences()
            return self._page(dropped, looked, wrong=told, chosen=chosen, status=422)
        except StoreError as error:
            told = error.sentences()
            return self._page(dropped, looked, wrong=told, chosen=chosen, status=409)
        left = sum(choice == "leave" for choice in chosen.values())
        known = sum(one.kind == "known" for one in looked.incoming)
        html = _logged_html(dropped.name, recorded, known=known, left=left, ids=[
            one.id for one in looked.incoming if chosen.get(one.id) != "leave"
        ])  # fmt: skip
        return page(html)

    def _page(
        self,
        dropped: Dropped | None = None,
        looked: Looked | None = None,
        *,
        wrong: Sequence[str] = (),
        chosen: Mapping[str, Choice] | None = None,
        status: int = 200,
    ) -> Response:
        incoming = () if looked is None else looked.incoming
        groups = [
            (kind, head, [_row(n, one, chosen or {}) for n, one in enumerate(incoming)
                          if one.kind == kind])
            for kind, head in _HEADS.items()
        ]  # fmt: skip
        fresh = [one for one in incoming if one.kind != "known"]
        return self.desk.page(
            "desk_drop.html",
            status=status,
            scripts=("desk_drop.js",),
            title="Take in a table",
            here="drop",
            token=self.desk.form_token,
            wrong=shown(wrong),
            errors=[] if looked is None else shown([p.sentence() for p in looked.errors]),
            name="" if dropped is None else dropped.name,
            carried="" if dropped is None else base64.b64encode(dropped.raw).decode("ascii"),
            seen="" if looked is None else looked.seen,
            looked=looked is not None and not looked.errors,
            groups=[group for group in groups if group[2]],
            doubts=[] if looked is None else shown(looked.doubts),
            count=len(fresh),
            told=_told(incoming),
        )


def _told(incoming: Sequence[Incoming]) -> str:
    """How many of each, in a line."""
    kinds = [one.kind for one in incoming]
    parts = {"new": "new", "changed": "changed", "second": "of a day that the log has",
             "known": "in the log already"}  # fmt: skip
    told = [f"{kinds.count(kind)} {text}" for kind, text in parts.items() if kind in kinds]
    return f"{counted(len(kinds), 'entry').replace('entrys', 'entries')}: {', '.join(told)}."


def _head(entry: AnyEntry) -> str:
    day = day_text(day_of_entry(entry), weekday=True)
    return f"{entry.field_id}, {kind_of_entry(entry)} of {day}"


def _before_id(one: Incoming) -> str:
    return "" if one.before is None else entry_id(one.before)


def _row(number: int, one: Incoming, chosen: Mapping[str, Choice]) -> dict[str, object]:
    """One entry as the page shows it."""
    return {
        "number": number,
        "line": one.line,
        "head": _head(one.entry),
        "text": entry_text(one.entry).partition(": ")[2],
        "moved": [] if one.kind == "known" else _differences(one),
        "before": "" if one.before is None else link("entry", entry=entry_id(one.before)),
        "choices": [
            (f"{choice} {_before_id(one)}", _CHOICES[choice], chosen.get(one.id) == choice)
            for choice in one.choices
        ],
    }


def _differences(one: Incoming) -> list[tuple[str, str, str]]:
    """What an entry says otherwise than the log: label, there, here."""
    if one.before is None:
        return []
    there, here = dict(said(one.before)), dict(said(one.entry))
    labels = dict.fromkeys((*there, *here))
    return [
        (label, there.get(label, "nothing"), here.get(label, "nothing"))
        for label in labels
        if there.get(label) != here.get(label)
    ]


def _logged_html(
    name: str, recorded: Recorded, *, known: int, left: int, ids: Sequence[str]
) -> str:
    """What became of a table; ``ids``: what the log has of it now, by the ids in the table."""
    new = [entry for entry in recorded.entries if entry_id(entry) in recorded.new]
    visits = sum(kind_of_entry(entry) == "visit" for entry in new)
    treatments = len(new) - visits
    known += len(recorded.entries) - len(new)
    parts = [f"{counted(visits, 'visit')} and {counted(treatments, 'treatment')} logged"]
    parts += [f"{known} in the log already"] * bool(known) + [f"{left} left out"] * bool(left)
    return render(
        "desk_dropped.html",
        script="desk_dropped.js",
        title="Logged" if new else "Nothing new",
        nav=True,
        here="drop",
        told=f"{name}: {', '.join(parts)}.",
        doubts=[doubt.sentence() for doubt in recorded.doubts],
        entries=[(link("entry", entry=entry_id(entry)), _head(entry)) for entry in new],
        ids=list(ids),
    )
