"""Hostile names of fields, growers and scouts, and hostile notes, on every page."""

from __future__ import annotations

import csv
import io
import random
import shutil
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest
from commands import run_command
from desk_season import client_of
from slow_tier import Told

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("planned_once")]
SEASONS = 4
DAY = ("--as-of", "2026-07-07")
MARK = "zq7"
"""Stands in every hostile text where a script or an attribute's name would stand."""

PIECES = (
    f"<script>{MARK}(1)</script>", f"<img src=x on{MARK}=1>", f'" on{MARK}="1', f"' on{MARK}='1",
    f"</title><{MARK}>", f"</script><{MARK}>", f"</textarea><{MARK}>", f"--><{MARK}>",
    f"<!--{MARK}", f"]]><{MARK}>", f"<svg/on{MARK}=1>", f"javascript:{MARK}()",
    f"&lt;{MARK}&gt;", f"{{{{ {MARK} }}}}", f"{{% {MARK} %}}", f"${{{MARK}}}", "`", "\\",
    "\u202e", "\u2066", "\u05d0\u05d1", "\U0001f41b", "=1+1", "%00", "[red]", "x" * 300,
)  # fmt: skip


class Page(HTMLParser):
    """What a browser would make of a page: elements, their attributes, scripts that run."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.kinds: set[str] = set()
        self.addresses: list[str] = []
        self.scripts = 0
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note the kind of an element, and where it leads."""
        self.scripts += tag == "script"
        self.kinds |= {tag, *(name for name, _ in attrs)}
        self.addresses += [text or "" for name, text in attrs if name in ("href", "src", "action")]


def hostile(draw: random.Random) -> str:
    """A name of some pieces."""
    return "".join(draw.choice(PIECES) for _ in range(draw.choice((1, 2, 4)))) or "x"


def renamed(folder: Path, name: Callable[[], str]) -> None:
    """Give each field, its grower and its note what ``name()`` says."""
    path = folder / "fields.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))
    growers = {row["grower"]: name() for row in rows}
    for row in rows:
        texts = {"field_name": name(), "notes": name()}
        row |= {"grower": growers[row["grower"]], **texts}
    with path.open("w", encoding="utf-8", newline="") as stream:
        table = csv.DictWriter(stream, rows[0].keys())
        table.writeheader()
        table.writerows(rows)


def pages_of(folder: Path, out: Path) -> dict[str, str]:
    """Every page as a file, and every address of the desk."""
    for command in ("brief", "letter"):
        ran = run_command(command, folder, "--all", "-o", out / command, *DAY)
        assert ran.code == 0, ran.err
    for command in ("overview", "pack"):
        ran = run_command(command, folder, "-o", out / f"{command}.html", *DAY)
        assert ran.code == 0, ran.err
    found = {path.name: path.read_text("utf-8") for path in sorted(out.rglob("*.html"))}
    client = client_of(folder)
    places = ("", "week", "overview", "letters", "board", "edit", "drop", "visit?field=F05",
              "field?field=F05", "brief?field=F05", "treatment?field=F05", "edit/table?of=fields",
              "edit/settings")  # fmt: skip
    for place in places:
        found[f"desk /{place}"] = client.get(f"/{place}").text
    return found


def test_names_are_only_text_on_every_page(
    demo: Path, tmp_path: Path, chance: random.Random, figure: Told
) -> None:
    """Proves that no name makes an element, an attribute, a script or an address of a page."""
    plain = Path(shutil.copytree(demo, tmp_path / "plain"))
    numbers = iter(range(1_000))
    renamed(plain, lambda: f"Name {next(numbers)}")
    known = {name: Page(html) for name, html in pages_of(plain, tmp_path / "plain-out").items()}
    usual = set().union(*(page.kinds for page in known.values()))
    seen = marked = 0
    for number in range(SEASONS):
        folder = Path(shutil.copytree(demo, tmp_path / f"s{number}"))
        renamed(folder, lambda: hostile(chance))
        for name, html in pages_of(folder, tmp_path / f"out{number}").items():
            page = Page(html)
            seen += 1
            marked += MARK in html
            assert page.kinds <= usual, name
            assert not any(one.strip().lower().startswith("javascript:") for one in page.addresses)
            if name in known:
                assert page.scripts == known[name].scripts, name
    assert marked > seen / 2
    figure(f"names: {SEASONS} seasons, {seen} pages, {marked} with hostile names, none does harm")
