"""The settings of a season changed at the desk, each on its line of season.toml."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from stagecast.base.errors import Problem, StoreError
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
from stagecast.season.settings.lines import (
    SettingLine,
    elsewhere,
    setting_lines,
    with_scout,
    with_settings,
)
from stagecast.season.settings.work import SETTINGS_FILE

SCOUT = "v-scout"
"""The input for one more scout."""


def routes(desk: Desk) -> list[BaseRoute]:
    """The form of the settings, and where it is sent."""
    pages = SettingsPages(desk)
    return [
        Route("/edit/settings", pages.form),
        Route("/edit/settings", pages.take, methods=["POST"]),
    ]


class SettingsPages:
    """The form, and what is sent with it."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.folder = desk.season.folder

    def form(self, request: Request) -> Response:
        """The form of the settings."""
        raw = read_file(self.folder, SETTINGS_FILE)
        told = said(request, "saved", f"Saved in {SETTINGS_FILE}.")
        return self._page(raw, {}, problems=problems_of(self.folder), told=told)

    async def take(self, request: Request) -> Response:
        """Save the settings that were changed."""
        texts = read_texts(await request.body())
        return await run_in_threadpool(lambda: self._take(texts))

    def _take(self, texts: Mapping[str, str]) -> Response:
        raw = read_file(self.folder, SETTINGS_FILE)
        scout = texts.get(SCOUT, "").strip()
        typed = {
            int(name[2:]): text
            for name, text in texts.items()
            if name.startswith("v-") and NUMBER.fullmatch(name[2:])
        }
        if not self.desk.takes(texts.get("form_token", "")):
            return self._page(raw, typed, scout=scout, wrong=[STALE], status=403)
        opened = texts.get("opened", "")
        if digest_of(raw) != opened:
            return self._changed(raw, texts, typed)
        text = _text(raw)
        known = {one.line for one in editable(setting_lines(text))}
        data = with_settings(text, {n: said for n, said in typed.items() if n in known})
        data = with_scout(data, scout) if scout else data
        try:
            made = data.encode("utf-8", "surrogateescape")
            brought = save_checked(self.folder, SETTINGS_FILE, made, opened=opened)
        except ChangedMeanwhile:
            return self._changed(read_file(self.folder, SETTINGS_FILE), texts, typed)
        except StoreError as error:
            return self._page(raw, typed, scout=scout, wrong=error.sentences(), status=409)
        if brought:
            return self._page(
                raw, typed, scout=scout, problems=brought, refused=True, status=422
            )  # fmt: skip
        return RedirectResponse(link("edit/settings", saved="1"), 303)

    def _changed(self, raw: bytes, texts: Mapping[str, str], typed: Mapping[int, str]) -> Response:
        """The form on the file as it stands now; what was typed is told, by name."""
        by_name = named(editable(setting_lines(_text(raw))))
        mine: dict[int, str] = {}
        lost = []
        for number, text in typed.items():
            name, began = texts.get(f"n-{number}", ""), texts.get(f"o-{number}", "")
            if text.strip() == began:
                continue
            if name in by_name:
                mine[by_name[name].line] = text
            else:
                lost.append(f"{name} is no longer in {SETTINGS_FILE}; you typed: {text}")
        wrong = [CHANGED.format(SETTINGS_FILE), *lost]
        return self._page(raw, mine, scout=texts.get(SCOUT, ""), wrong=wrong, status=409)

    def _page(
        self,
        raw: bytes,
        typed: Mapping[int, str],
        *,
        scout: str = "",
        problems: Sequence[Problem] = (),
        wrong: Sequence[str] = (),
        told: Sequence[str] = (),
        refused: bool = False,
        status: int = 200,
    ) -> Response:
        text = _text(raw)
        by_name = named(editable(setting_lines(text)))
        known = {one.line for one in by_name.values()}
        beside: dict[int, list[str]] = {}
        for problem in problems:
            if problem.file == SETTINGS_FILE and problem.line in known:
                beside.setdefault(problem.line or 0, []).append(problem_text(problem, place=False))
        above = [p.sentence() for p in problems if refused and p.line not in beside]
        groups: dict[str, list[dict[str, object]]] = {}
        for name, one in by_name.items():
            began = one.shown if one.made else ""
            group = f"{one.section.removesuffix('s')} {one.of}" if one.of else one.section
            groups.setdefault(group, []).append(
                {
                    "line": one.line,
                    "name": name,
                    "label": one.key.replace("_", " "),
                    "remark": one.remark,
                    "otherwise": "" if one.made else one.shown,
                    "value": typed.get(one.line, began),
                    "began": began,
                    "problems": beside.get(one.line, ()),
                }
            )
        return edit_page(
            self.desk, "desk_edit_settings.html", status=status, title="Settings",
            file=SETTINGS_FILE, draft_name=SETTINGS_FILE, told=told,
            wrong=shown([*wrong, *above]), refused=refused or bool(wrong),
            groups=list(groups.items()), opened=digest_of(raw), elsewhere=not_here(text),
            scout_input=SCOUT, scout=scout,
        )  # fmt: skip


def editable(lines: Sequence[SettingLine]) -> list[SettingLine]:
    """The settings that may be changed here.

    Not what runs a program or sends mail: who opens the desk from another device may do neither.
    """
    return [one for one in lines if not _elsewhere_only(one)]


def not_here(text: str) -> list[tuple[int, str]]:
    """What is changed in the file itself: line and name, in the order of the file."""
    kept = [(one.line, f"{one.section} {one.key}") for one in setting_lines(text)
            if one.made and _elsewhere_only(one)]  # fmt: skip
    return sorted([*kept, *elsewhere(text)])


def named(lines: Sequence[SettingLine]) -> dict[str, SettingLine]:
    """Settings by a name that no other has, and that holds when lines move."""
    found: dict[str, SettingLine] = {}
    seen: Counter[str] = Counter()
    for one in lines:
        section = f"{one.section} {one.of}".strip()
        name = f"{section}.{one.key}" if section else one.key
        seen[name] += 1
        found[name if seen[name] == 1 else f"{name} {seen[name]}"] = one
    return found


def _elsewhere_only(one: SettingLine) -> bool:
    mail = one.section.partition(".")[0] == "mail"
    return mail or (one.section, one.key) == ("alerts", "command")


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "surrogateescape")
