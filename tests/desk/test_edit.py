"""A season changed at the desk: whole or not at all, and never over somebody else's change."""

from __future__ import annotations

from pathlib import Path

import pytest
from desk_season import FORM_TOKEN, Parsed, TestClient, read

from stagecast.season.edited import problems_of
from stagecast.season.folder import read_season

HOSTILE = "<script>alert(1)</script> \"'> <img src=x onerror=alert(1)> {{ 7*7 }}"
FIELD, SETTINGS = "/edit/row?of=fields&field=F1", "/edit/settings"


@pytest.fixture
def season(season: Path) -> Path:
    """The season, whose fields.csv is as a person has it: line ends, own column, blanks."""
    path = season / "fields.csv"
    head, *rows = path.read_text().splitlines()
    lines = [f"{head},my own", *(f'{row},"a; ""b"" "' for row in rows)]
    path.write_bytes("\r\n".join(lines).encode())
    return season


def send(client: TestClient, address: str, form: Parsed, status: int = 303, **typed: str) -> Parsed:
    """Send a form as a browser does, with other values in it."""
    names = {name.replace("_dash_", "-"): text for name, text in typed.items()}
    answer = client.post(address, data={**form.inputs, "act": "save", **names})
    assert answer.status_code == status, Parsed(answer.text).text
    return Parsed(answer.text)


def c(**cells: str) -> dict[str, str]:
    """Cells by the names of their inputs."""
    return {f"c-{name}": text for name, text in cells.items()}


def test_a_planting_date_is_one_cell(season: Path, client: TestClient) -> None:
    """Another date changes its own bytes alone, and the season is read with it."""
    before = (season / "fields.csv").read_bytes()
    send(client, FIELD, read(client, FIELD), **c(planting_date="5/9/2026"))
    after = (season / "fields.csv").read_bytes()
    assert after == before.replace(b"2026-05-04", b"5/9/2026")
    assert read_season(season).fields[0].planting_date.isoformat() == "2026-05-09"
    assert "Saved in fields.csv" in read(client, FIELD + "&saved=1").text


def test_a_replant_adds_its_column(season: Path, client: TestClient) -> None:
    """A column that the file lacks is added; the person's own one stays as it was."""
    send(client, FIELD, read(client, FIELD), **c(replanted="2026-05-25"))
    lines = (season / "fields.csv").read_bytes().split(b"\r\n")
    assert lines[0].endswith(b",my own,replanted")
    assert lines[1].endswith(b'"a; ""b"" ",2026-05-25')
    assert read_season(season).fields[0].first_planted is not None


def test_what_is_wrong_stands_beside_its_cell(season: Path, client: TestClient) -> None:
    """A change that brings an error is not saved, and says it in the words of check."""
    before = (season / "fields.csv").read_bytes()
    page = send(
        client, FIELD, read(client, FIELD), 422, **c(planting_date="May", latitude="91")
    )  # fmt: skip
    wrong = {a["id"] for tag, a in page.elements if tag == "p" and a.get("class") == "small wrong"}
    assert wrong == {"w-planting_date", "w-latitude"}
    assert page.inputs["c-planting_date"] == "May"
    assert "Nothing was saved" in page.text
    assert (season / "fields.csv").read_bytes() == before


def test_an_error_that_was_there_keeps_nobody_from_mending_another(
    season: Path, client: TestClient
) -> None:
    """Of two faults one may be mended and saved; the other is still told."""
    path = season / "fields.csv"
    path.write_bytes(path.read_bytes().replace(b"2026-05-04", b"never").replace(b"36.01", b"no"))
    send(client, FIELD, read(client, FIELD), **c(planting_date="2026-05-04"))
    assert [p.column for p in problems_of(season)] == ["latitude"]
    assert "found 'no'" in read(client, "/edit").text
    assert "1 wrong" in read(client, "/edit").text


def test_somebody_elses_change_is_told_and_nothing_lost(season: Path, client: TestClient) -> None:
    """What changed in the file meanwhile stands beside what was typed; saved again both are in."""
    form = read(client, FIELD)
    path = season / "fields.csv"
    theirs = path.read_bytes().replace(b"2026-05-04", b"2026-05-06").replace(b"F2", b"F3")
    path.write_bytes(theirs)
    page = send(client, FIELD, form, 409, **c(planting_date="2026-05-09", grower="Grower Z"))
    assert "Somebody else changed fields.csv" in page.text
    assert "The file now says: 2026-05-06" in page.text
    assert page.inputs["c-planting_date"] == "2026-05-09"
    assert path.read_bytes() == theirs
    send(client, FIELD, page)
    lines = path.read_text().splitlines()
    assert "2026-05-09" in lines[1]
    assert "Grower Z" in lines[1]
    assert lines[2].startswith("F3")


def test_a_row_that_went_becomes_a_new_one(season: Path, client: TestClient) -> None:
    """Where somebody else took the row out, what was typed is kept in the form."""
    form = read(client, FIELD)
    path = season / "fields.csv"
    lines = path.read_bytes().split(b"\r\n")
    path.write_bytes(b"\r\n".join([lines[0], *lines[2:]]))
    page = send(client, FIELD, form, 409, **c(notes="typed"))
    assert "no longer in fields.csv" in page.text
    send(client, FIELD, page)
    assert [f.notes for f in read_season(season).fields] == ["", "typed"]


@pytest.mark.parametrize("table", ["fields", "blocked", "traps", "travel"])
def test_every_table_takes_a_row_and_gives_it_back(
    season: Path, client: TestClient, table: str
) -> None:
    """A file that is not there is made with its columns; a row that is taken out is gone."""
    rows = {
        "fields": c(
            field_id="F9", latitude="36.2", longitude="-88.9", area_acres="40",
            planting_date="2026-05-11", maturity_group="4.4",
        ),
        "blocked": c(field_id="F1", first_date="2026-07-08", last_date="2026-07-08"),
        "traps": c(trap="T", date="2026-07-01", pest="corn earworm", catch="4"),
        "travel": c(**{"from": "home", "to": "F1", "minutes": "12"}),
    }  # fmt: skip
    new = f"/edit/row?of={table}&line=new"
    path = season / f"{table}.csv"
    before = path.read_bytes() if path.exists() else None
    answer = client.post(new, data={**read(client, new).inputs, **rows[table]})
    assert answer.status_code == 303, Parsed(answer.text).text
    assert not [p for p in problems_of(season) if not p.doubtful]
    where = answer.headers["location"]
    form = read(client, where)
    assert {k: v for k, v in form.inputs.items() if k in rows[table]} == rows[table]
    answer = client.post(where, data={**form.inputs, "act": "remove"})
    assert answer.status_code == 303
    if before is not None:
        assert path.read_bytes() == before + b"\r\n"
    assert "line" not in " ".join(p.sentence() for p in problems_of(season) if p.file == path.name)


def test_settings_are_changed_on_their_lines(season: Path, client: TestClient) -> None:
    """A setting that stood as a remark is made, another is changed; remarks stay."""
    path = season / "season.toml"
    path.write_text(path.read_text() + "\n# own remark\n[hours]\n# starts = '07:00'  # early\n")
    form = read(client, SETTINGS)
    by_name = {form.inputs[n]: n[2:] for n in form.inputs if n.startswith("n-")}
    starts = f"v-{by_name['hours.starts']}"
    wrong = send(client, SETTINGS, form, 422, **{starts: "never"})
    assert "Nothing was saved" in wrong.text
    assert wrong.inputs[starts] == "never"
    send(client, SETTINGS, form, **{starts: "6:30"})
    assert path.read_text().endswith('\n# own remark\n[hours]\nstarts = "6:30"  # early\n')


def test_scouts_are_added_and_changed(season: Path, client: TestClient) -> None:
    """A name adds one; each then has settings of their own, which go to the right one."""
    for name in ("Ann", "Bob"):
        send(client, SETTINGS, read(client, SETTINGS), **{"v-scout": name})
    scouts = read_season(season).settings.scouts
    assert [one.name for one in scouts] == ["Ann", "Bob"]
    form = read(client, SETTINGS)
    by_name = {form.inputs[n]: n[2:] for n in form.inputs if n.startswith("n-")}
    path = season / "season.toml"
    path.write_text("# a line more\n" + path.read_text())
    typed = {f"v-{by_name['scouts Ann.starts']}": "6:00"}
    again = send(client, SETTINGS, form, 409, **typed)
    send(client, SETTINGS, again)
    starts = [one.starts for one in read_season(season).settings.scouts]
    assert starts == [6 * 3600, None]
    refused = send(client, SETTINGS, read(client, SETTINGS), 422, **{"v-scout": "Ann"})
    assert refused.inputs["v-scout"] == "Ann"
    assert len(read_season(season).settings.scouts) == 2


def test_what_is_not_changed_here_is_told_with_its_line(season: Path, client: TestClient) -> None:
    """A person opens the file once, at the right place."""
    path = season / "season.toml"
    path.write_text(
        path.read_text()
        + '\n[[scouts]]\nname = "Ann"\nhome = { latitude = 36.0, longitude = -89.0 }\n'
    )
    line = len(path.read_text().splitlines())
    assert f"scouts Ann home in line {line}." in read(client, SETTINGS).text


def test_settings_changed_meanwhile_are_told(season: Path, client: TestClient) -> None:
    """What was typed goes by name to the line where the setting stands now."""
    form = read(client, SETTINGS)
    path = season / "season.toml"
    path.write_text("# a line more\n" + path.read_text())
    by_name = {form.inputs[n]: n[2:] for n in form.inputs if n.startswith("n-")}
    before = path.read_text()
    page = send(client, SETTINGS, form, 409, **{f"v-{by_name['year']}": "2027"})
    assert "Somebody else changed season.toml" in page.text
    assert path.read_text() == before
    assert page.inputs[f"v-{int(by_name['year']) + 1}"] == "2027"


def test_nothing_that_runs_a_program_is_set_here(season: Path, client: TestClient) -> None:
    """The alert command and mail are not shown, and a form that sends them changes nothing."""
    path = season / "season.toml"
    path.write_text(
        path.read_text() + '\n[alerts]\ncommand = ["x.sh"]\n[mail]\nserver = "a.example"\n'
    )
    form = read(client, SETTINGS)
    assert not {"alerts.command", "mail.server"} & set(form.inputs.values())
    before = path.read_text()
    last = len(before.splitlines())
    extra = {f"v-{line}": "evil" for line in range(last - 3, last + 1)}
    send(client, SETTINGS, form, **extra)
    assert path.read_text() == before


@pytest.mark.parametrize("address", [FIELD, SETTINGS])
def test_nothing_is_saved_without_the_token(season: Path, client: TestClient, address: str) -> None:
    """What comes without the token is not taken, and what was typed is shown again."""
    before = {p.name: p.read_bytes() for p in season.glob("*.*")}
    form = read(client, address)
    form.inputs["form_token"] = "another"
    typed = {"c-notes": "kept"} if address == FIELD else {}
    page = send(client, address, form, 403, **typed)
    assert "started anew" in page.text
    assert typed.items() <= page.inputs.items()
    assert {p.name: p.read_bytes() for p in season.glob("*.*")} == before
    assert FORM_TOKEN in page.inputs.values()


def test_hostile_names_are_only_text(season: Path, client: TestClient) -> None:
    """Markup in a cell is shown as it stands, in the form and in the list."""
    plain = read(client, FIELD)
    send(client, FIELD, plain, **c(field_name=HOSTILE))
    page = read(client, FIELD)
    assert page.inputs["c-field_name"] == HOSTILE
    assert page.shape == plain.shape
    listed = read(client, "/edit/table?of=fields")
    assert "<script>alert(1)</script>" in listed.text


def test_what_is_not_there_is_said(client: TestClient) -> None:
    """Another table, row or field is a page that says so."""
    for address in ("table?of=log", "row?of=fields&line=99", "row?of=fields&field=F77", "row"):
        assert client.get(f"/edit/{address}").status_code == 404
