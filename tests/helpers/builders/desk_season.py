"""A small season behind the desk, and a browser's side of it without a browser."""

from __future__ import annotations

import datetime as dt
import warnings
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from season_builder import FieldLine, StationFile, build_season, day

from stagecast.desk.app import desk_app
from stagecast.desk.season import DeskSeason
from stagecast.season.log.entries import LOG_FILE, ScoutingLog
from stagecast.season.log.store import LogStore

with warnings.catch_warnings():  # some releases name a class of anyio by its old place
    warnings.simplefilter("ignore", DeprecationWarning)
    from starlette.testclient import TestClient

HERE = "http://127.0.0.1:8123"
AS_OF = day(7, 7)
NOW = dt.datetime(2026, 7, 7, 18, 30)
FORM_TOKEN = "the token of the forms"


def build(folder: Path) -> Path:
    """Two fields beside each other, of which one is planted later, and one station."""
    fields = [FieldLine("F1", day(5, 4)), FieldLine("F2", day(5, 20), latitude=36.01)]
    return build_season(
        folder, fields=fields, stations=[StationFile(first=dt.date(2024, 1, 1), last=day(7, 6))]
    )


def with_scouts(folder: Path, *names: str) -> Path:
    """The season of a folder with these scouts."""
    with (folder / "season.toml").open("a") as stream:
        stream.writelines(f'\n[[scouts]]\nname = "{name}"\n' for name in names)
    return folder


def desk_of(
    folder: Path,
    *,
    as_of: dt.date | None = AS_OF,
    busy_timeout_s: float = 3.0,
    patience_s: float = 60.0,
) -> DeskSeason:
    """The season behind the desk, on a fixed day; unless told, pages wait for the newest plan."""
    return DeskSeason(
        folder, clock=lambda: NOW, as_of=as_of, busy_timeout_s=busy_timeout_s, patience_s=patience_s
    )


def client_of(
    folder: Path,
    *,
    address: str = HERE,
    token: str | None = None,
    as_of: dt.date = AS_OF,
    busy_timeout_s: float = 3.0,
) -> TestClient:
    """A browser's side of the desk; what goes wrong is answered, as a server would."""
    desk = desk_of(folder, as_of=as_of, busy_timeout_s=busy_timeout_s)
    app = desk_app(desk, token=token, form_token=FORM_TOKEN)
    return TestClient(app, base_url=address, follow_redirects=False, raise_server_exceptions=False)


def sent(**typed: str) -> dict[str, str]:
    """A visit to F1 as its form sends it."""
    return {"form_token": FORM_TOKEN, "about": "F1", "date": AS_OF.isoformat(), **typed}


def read(client: TestClient, address: str) -> Parsed:
    """A page that must be there."""
    answer = client.get(address)
    assert answer.status_code == 200, Parsed(answer.text).text
    return Parsed(answer.text)


def log_of(folder: Path) -> ScoutingLog:
    """Every entry of the season's log."""
    return LogStore(folder / LOG_FILE).all_entries()


class Parsed(HTMLParser):
    """A page as a browser takes it apart: elements with attributes, text, inputs."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.inputs: dict[str, str] = {}
        self._area: str | None = None
        self._select: str | None = None
        self._silent = 0
        self.feed(html)
        self.close()

    @property
    def text(self) -> str:
        """All that can be read, single blanks."""
        return " ".join(" ".join(self.texts).split())

    @property
    def shape(self) -> list[tuple[str, tuple[str, ...]]]:
        """Elements with the names of their attributes."""
        return [(tag, tuple(sorted(attributes))) for tag, attributes in self.elements]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, Any]]) -> None:
        """Keep it, and what an input holds."""
        attributes = dict(attrs)
        self.elements.append((tag, attributes))
        name = attributes.get("name")
        if tag == "input" and name:
            self.inputs[name] = attributes.get("value") or ""
        if tag == "select" and name:
            self._select, self.inputs[name] = name, ""
        if tag == "option" and self._select is not None and "selected" in attributes:
            self.inputs[self._select] = attributes.get("value") or ""
        if tag == "textarea" and name:
            self._area, self.inputs[name] = name, ""
        self._silent += tag in ("style", "script", "title")

    def handle_endtag(self, tag: str) -> None:
        """A text area ends with its text, whose first line break is not its own."""
        if tag == "textarea" and self._area is not None:
            self.inputs[self._area] = self.inputs[self._area].removeprefix("\n")
            self._area = None
        self._silent -= tag in ("style", "script", "title")

    def handle_data(self, data: str) -> None:
        """Text, or what stands in a text area."""
        if self._area is not None:
            self.inputs[self._area] += data
        elif not self._silent:
            self.texts.append(data)
