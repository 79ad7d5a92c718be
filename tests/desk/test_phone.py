"""A day's sheet to a phone by a code, and its counts back over the network."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from browser import DESK, FLAGS, NAMES, PATIENCE_MS, PHONE, OpenPage, axe_violations
from desk_season import FORM_TOKEN, HERE, Parsed, TestClient, desk_of, log_of
from desk_server import served

from stagecast.desk.app import desk_app
from stagecast.desk.exchange.phone import code_svg, sheet_address
from stagecast.desk.serve import usual_port

TOKEN = "a-secret"
DAY = "/phone?day=2026-07-07&scout="
HOST = "scout-desk.example"
"""A name of this computer as another one sees it: to a browser nothing on it is secure."""


def client_with(season: Path, address: str) -> TestClient:
    """A browser's side of a desk that says where it is."""
    app = desk_app(desk_of(season), form_token=FORM_TOKEN, address=address)
    return TestClient(app, base_url=HERE, follow_redirects=False)


def test_the_code_leads_to_the_sheet_with_the_token(season: Path) -> None:
    """The address beside the code has day, scout and the token that lets the phone in."""
    page = Parsed(client_with(season, f"http://192.0.2.7:8123/?token={TOKEN}").get(DAY).text)
    (address,) = {
        str(a["href"]) for tag, a in page.elements if tag == "a" and "phone/sheet" in str(a["href"])
    }
    parts = urlsplit(address)
    assert (parts.netloc, parts.path) == ("192.0.2.7:8123", "/phone/sheet")
    assert parse_qs(parts.query) == {"day": ["2026-07-07"], "token": [TOKEN]}
    assert "figure" in {tag for tag, _ in page.elements}


def test_without_a_network_the_page_says_how(season: Path) -> None:
    """A desk that answers this computer only has no code, and no token to show."""
    page = Parsed(client_with(season, "").get(DAY).text)
    assert "--lan" in page.text
    assert "figure" not in {tag for tag, _ in page.elements}


def test_a_day_without_a_stop_is_not_there(season: Path) -> None:
    """Neither its code nor its sheet."""
    client = client_with(season, "")
    assert client.get("/phone?day=2026-07-05&scout=").status_code == 404
    assert client.get("/phone/sheet?day=2026-07-05&scout=").status_code == 404


def test_only_the_opened_sheet_knows_the_desk(season: Path) -> None:
    """The file for the phone holds no token of the desk's forms; the opened sheet does."""
    client = client_with(season, "")
    opened = client.get("/phone/sheet?day=2026-07-07&scout=")
    file = client.get("/sheet?day=2026-07-07&scout=")
    assert FORM_TOKEN in opened.text
    assert FORM_TOKEN not in file.text
    assert 'action="/drop"' not in file.text
    assert "content-disposition" not in opened.headers


def test_a_code_grows_with_its_address() -> None:
    """A QR code of version v is 17 + 4 v squares wide (ISO/IEC 18004), with four of margin."""
    for text in ("a" * 20, "a" * 200):
        (width,) = re.findall(r'<svg[^>]* width="([0-9]+)"', code_svg(text))
        squares = int(width) / 6 - 8
        assert (squares - 17) % 4 == 0
        assert squares >= 21
    assert sheet_address("", day="2026-07-07", scout="Ann") == ""


def test_a_folder_has_a_port_of_its_own(tmp_path: Path) -> None:
    """A phone keeps its counts by address, so the desk of a folder is found at the same one."""
    ports = [usual_port(tmp_path / str(n)) for n in range(50)]
    assert ports == [usual_port(tmp_path / str(n)) for n in range(50)]
    assert len(set(ports)) > 40
    assert all(20_000 <= port < 40_000 for port in ports)


# --- in a browser -------------------------------------------------------------------------------


@pytest.fixture
def elsewhere() -> Iterator[object]:
    """A browser on a phone, to which the desk is another computer of the network."""
    api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    system = next(filter(None, map(shutil.which, NAMES)), None)
    if system is None:
        pytest.skip("no Chromium on this computer")
    flags = [*FLAGS, f"--host-resolver-rules=MAP {HOST} 127.0.0.1"]
    with api.sync_playwright() as started:
        running = started.chromium.launch(executable_path=system, args=flags)
        width, height = PHONE
        context = running.new_context(viewport={"width": width, "height": height})
        context.set_default_timeout(PATIENCE_MS)
        yield context
        running.close()


@pytest.mark.browser
@pytest.mark.allow_hosts(["127.0.0.1"])
def test_counts_come_back_over_the_network(season: Path, elsewhere: object) -> None:
    """Scan, count, send, look, log: the sheet stays open, and counts as sent once it is logged."""
    with served(season, token=TOKEN) as here:
        address = sheet_address(
            here.replace("127.0.0.1", HOST) + f"?token={TOKEN}", day="2026-07-07", scout=""
        )
        page = elsewhere.new_page()  # type: ignore[attr-defined]
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(address)
        page.wait_for_url("**/phone/sheet?day=2026-07-07*")
        page.click('#list a[href="#stop-1"]')
        page.click("#count-0-plus")
        page.click("#bar >> text=Send")
        with page.expect_popup() as opened:
            page.get_by_role("button", name="Send to the desk").click()
        desk = opened.value
        desk.get_by_text("1 new. Nothing is logged yet.").wait_for()
        assert axe_violations(desk) == []
        assert not log_of(season).visits
        desk.get_by_role("button", name="Log it").click()
        desk.get_by_text("1 visit and 0 treatments logged").wait_for()
        assert len(log_of(season).visits) == 1
        page.bring_to_front()
        page.get_by_text("The desk has logged it.").wait_for()
        assert axe_violations(page) == []
        assert complaints == []


@pytest.mark.browser
@pytest.mark.allow_hosts(["127.0.0.1"])
@pytest.mark.parametrize(("size", "dark"), [(DESK, True), ((320, 640), False)])
def test_the_page_of_the_code_is_for_anybody(
    season: Path, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """The checker finds nothing, nothing is wider than the window, and nothing is asked for."""
    with served(season, address=f"http://192.0.2.7:8123/?token={TOKEN * 4}") as here:
        opened = open_page(here + DAY[1:], offline=False, size=size, dark=dark)
        assert axe_violations(opened.page) == []
        assert opened.sideways <= 0
        assert opened.complaints == []
