"""Letters and sheets at the desk: all on one page to print, and what went out when."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import DESK, OpenPage, axe_violations
from desk_season import AS_OF, FORM_TOKEN, TestClient, build, read
from desk_server import served
from season_builder import day

from stagecast.season.handed import FILE, keep_handed, read_handed
from stagecast.season.outbox import OutMessage, Post, keep_post

HOSTILE = '<script>alert(1)</script> "\'> id="x"'


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fields of two growers, of whom one has an odd name; tests copy it."""
    folder = build(tmp_path_factory.mktemp("built") / "season")
    path = folder / "fields.csv"
    head, first, second = path.read_text().splitlines()
    quoted = '"' + HOSTILE.replace('"', '""') + '"'
    lines = [head, first, second.replace("Grower A", quoted)]
    path.write_text("\n".join(lines) + "\n")
    return folder


def test_all_letters_stand_on_one_page(client: TestClient) -> None:
    """Each letter once, with ids of its own, and nothing of a name does anything."""
    page = read(client, "/letters/all")
    articles = [tag for tag, _ in page.elements if tag == "article"]
    assert len(articles) == 2
    ids = [a["id"] for _, a in page.elements if a.get("id")]
    assert len(ids) == len(set(ids))
    for _, attributes in page.elements:
        for name in (attributes.get("aria-labelledby") or "").split():
            assert name in ids
    assert HOSTILE in page.text
    assert "script" not in {tag for tag, _ in page.elements}
    assert "Grower A" in read(client, "/letters/one?grower=Grower+A").text
    assert client.get("/letters/one?grower=Nobody").status_code == 404


def test_what_went_out_is_noted(season: Path, client: TestClient) -> None:
    """One grower, then all: the day stands beside the name, and twice is as good as once."""
    assert "no letter went out yet" in read(client, "/letters").text
    for _ in range(2):
        data = {"form_token": FORM_TOKEN, "act": "one", "grower": "Grower A"}
        assert client.post("/letters", data=data).status_code == 303
    assert read_handed(season) == {"Grower A": (AS_OF,)}
    assert "went out Tue 7 Jul" in read(client, "/letters").text
    client.post("/letters", data={"form_token": FORM_TOKEN, "act": "every"})
    assert read_handed(season) == {"Grower A": (AS_OF,), HOSTILE: (AS_OF,)}
    keep_handed(season, ["Grower A"], day(7, 1))
    assert read_handed(season)["Grower A"] == (day(7, 1), AS_OF)


@pytest.mark.parametrize(
    ("data", "status"),
    [({"form_token": "x", "act": "every"}, 403),
     ({"form_token": FORM_TOKEN, "act": "one", "grower": "Nobody"}, 422)],
)  # fmt: skip
def test_nothing_else_is_noted(
    season: Path, client: TestClient, data: dict[str, str], status: int
) -> None:
    """Without the token, or of a grower who is none, nothing is written."""
    assert client.post("/letters", data=data).status_code == status
    assert not (season / FILE).exists()


def test_messages_say_what_became_of_them(season: Path, client: TestClient) -> None:
    """The outbox is told, the newest first, each with its state."""
    one = OutMessage(
        id="1", way="mail", to="me@example.org", day=day(7, 6), told=(("a", 1),), text="x",
        state="sent",
    )  # fmt: skip
    two = one.model_copy(update={"id": "2", "day": AS_OF, "state": "perhaps", "told": ()})
    keep_post(season, Post((one, two)))
    text = read(client, "/letters").text
    first = text.index("Tue 7 Jul : 0 alerts" if "7 Jul : 0" in text else "Tue 7 Jul: 0 alerts")
    assert first < text.index("Mon 6 Jul: 1 alert by mail to me@example.org, sent")
    assert "perhaps sent" in text


@pytest.mark.browser
@pytest.mark.allow_hosts(["127.0.0.1"])
@pytest.mark.parametrize(("size", "dark"), [(DESK, False), ((320, 640), True)])
def test_the_pages_are_for_anybody(
    season: Path, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """The checker finds nothing, nothing is wider than the window, each letter has its paper."""
    with served(season) as here:
        for name in ("letters", "letters/all"):
            opened = open_page(here + name, offline=False, size=size, dark=dark)
            assert axe_violations(opened.page) == [], name
            assert opened.sideways <= 0, name
            assert opened.complaints == []
        assert opened.printed().count(b"/Type /Page\n") >= 2
        opened = open_page(here + "letters", offline=False, size=size)
        opened.page.get_by_role("button", name="All of them went out today").focus()
        opened.page.keyboard.press("Enter")
        opened.page.get_by_text("went out Tue 7 Jul").first.wait_for()
    assert len(read_handed(season)) == 2
