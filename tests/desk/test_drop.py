"""A table dropped on the desk: looked at first, logged with one button, harmless twice."""

from __future__ import annotations

from pathlib import Path

import pytest
from desk_season import FORM_TOKEN, Parsed, TestClient, log_of
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.errors import SeasonProblems
from stagecast.desk.sent import read_parts

HOSTILE = "<script>alert(1)</script> \"'> <img src=x onerror=alert(1)> {{ 7*7 }}"
HEAD = "visit_id,field_id,date,stage,set,size,of,pest,count,notes\n"
TABLE = HEAD + "p1,F1,2026-07-06,R3,1,25,sweeps,stink bugs,2,\np2,F2,7/6/2026,R2,,,,,,\n"


def drop(client: TestClient, raw: str | bytes, name: str = "phone.csv", **texts: str) -> Parsed:
    """Send a file as the form does, and read what is answered."""
    data = {"form_token": FORM_TOKEN, "pasted": "", **texts}
    raw = raw.encode() if isinstance(raw, str) else raw
    answer = client.post("/drop", data=data, files={"table": (name, raw, "text/csv")})
    return Parsed(answer.text)


def press(client: TestClient, page: Parsed, status: int = 200, **chosen: str) -> Parsed:
    """Press the button of a page that was looked at."""
    data = {name: page.inputs[name] for name in ("form_token", "name", "carried", "seen")}
    answer = client.post("/drop", data={**data, **chosen}, files={"none": ("", b"")})
    parsed = Parsed(answer.text)
    assert answer.status_code == status, parsed.text
    return parsed


def test_nothing_is_logged_before_the_button(season: Path, client: TestClient) -> None:
    """A drop shows what is new; one button logs it; a second drop finds nothing to log."""
    page = drop(client, TABLE)
    assert "2 entries: 2 new. Nothing is logged yet." in page.text
    assert "read as month/day/year" in page.text
    assert not log_of(season).visits
    assert "phone.csv: 2 visits and 0 treatments logged." in press(client, page).text
    assert [v.visit_id for v in log_of(season).visits] == ["p1", "p2"]
    again = drop(client, TABLE)
    assert "the log has all of it" in again.text
    press(client, again)
    press(client, page, 409)
    assert len(log_of(season).visits) == 2


def test_a_pasted_table_is_taken_too(season: Path, client: TestClient) -> None:
    """Rows copied from a spreadsheet are separated by tabs."""
    pasted = TABLE.replace(",", "\t")
    page = drop(client, b"", "", pasted=pasted)
    press(client, page)
    assert [v.stage for v in log_of(season).visits] == ["R3", "R2"]


def test_changed_rows_ask(season: Path, client: TestClient) -> None:
    """A changed row shows what differs and is logged as it is said, by whoever says it."""
    press(client, drop(client, TABLE))
    page = drop(client, TABLE.replace("R3", "R4"))
    assert "1 changed, 1 in the log already" in page.text
    assert "R3" in page.text
    assert "Say of F1, visit of Mon 6 Jul how it is to be taken." in press(client, page, 422).text
    assert len(log_of(season).visits) == 2
    press(client, page, **{"how-0": "instead p1"})
    assert log_of(season).visits[-1].corrects == "p1"
    press(client, page, 409, **{"how-0": "instead p1"})
    assert len(log_of(season).visits) == 3


def test_what_changed_meanwhile_is_looked_at_again(season: Path, client: TestClient) -> None:
    """Where the log changed between look and button nothing is logged, and the page says so."""
    page = drop(client, TABLE)
    press(client, drop(client, HEAD + "d1,F1,2026-07-06,R5,,,,,,\n"))
    second = press(client, page, 409)
    assert "The log changed meanwhile" in second.text
    assert [v.visit_id for v in log_of(season).visits] == ["d1"]
    press(client, second, **{"how-0": "beside d1"})
    assert len(log_of(season).visits) == 3


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (TABLE.replace("R3", "R9"), "line 2, stage"),
        (TABLE.replace("F2", "F9"), "line 3, field_id"),
        (b"PK\x03\x04xlsx", "a spreadsheet workbook, not CSV"),
        (TABLE.encode("utf-16"), "UTF-16"),
        ("a,b\n1,2\n", "field_id"),
    ],
)
def test_a_wrong_table_logs_nothing(
    season: Path, client: TestClient, raw: str | bytes, told: str
) -> None:
    """All of a table is taken or nothing, and its faults are told at their lines."""
    page = drop(client, raw)
    assert told in page.text
    assert "Nothing was logged" in page.text
    assert not log_of(season).visits


def test_odd_counts_are_told_before_they_are_logged(client: TestClient) -> None:
    """Twenty typed as two hundred stands among the doubts."""
    page = drop(client, TABLE.replace("stink bugs,2,", "stink bugs,200,"))
    assert "A set has 200 stink bugs." in page.text


def test_nothing_is_taken_without_the_token(season: Path, client: TestClient) -> None:
    """A table with another token is shown and not logged; what was sent is not lost."""
    page = drop(client, TABLE)
    page.inputs["form_token"] = "another"
    assert "started anew" in press(client, page, 403).text
    assert not log_of(season).visits


def test_hostile_names_are_only_text(client: TestClient) -> None:
    """A name of a file and cells with markup are shown as they are."""
    plain = drop(client, HEAD + "p1,F1,2026-07-06,R3,,,,,,plain\n")
    notes = '"' + HOSTILE.replace('"', '""') + '"'
    page = drop(client, HEAD + f"p1,F1,2026-07-06,R3,,,,,,{notes}\n", name=HOSTILE)
    assert page.shape == plain.shape
    assert "<script>alert(1)</script>" in page.text


@pytest.mark.parametrize("kind", ["", "text/plain", "multipart/form-data", "application/json"])
def test_what_is_no_form_is_refused(client: TestClient, kind: str) -> None:
    """Anything else than our form is answered with a reason."""
    answer = client.post("/drop", content=b"x", headers={"content-type": kind})
    assert answer.status_code == 422
    assert "not what a form of the desk sends" in Parsed(answer.text).text


@given(st.binary(max_size=200), st.text(max_size=20))
def test_a_file_arrives_byte_for_byte(raw: bytes, text: str) -> None:
    """Line ends, byte-order marks and anything else of a file are as they were (RFC 7578)."""
    clean = text.encode("utf-8", "replace").decode("utf-8")
    body = (
        b'--b0undary\r\nContent-Disposition: form-data; name="note"\r\n\r\n'
        + clean.encode()
        + b'\r\n--b0undary\r\nContent-Disposition: form-data; name="table"; filename="a.csv"\r\n'
        + b"Content-Type: text/csv\r\n\r\n"
        + raw
        + b"\r\n--b0undary--\r\n"
    )
    sent = read_parts(body, "multipart/form-data; boundary=b0undary")
    assert sent.files["table"] == ("a.csv", raw)
    assert sent.texts["note"] == clean.replace("\r\n", "\n")


@given(st.binary(max_size=100))
def test_no_bytes_do_more_than_be_refused(body: bytes) -> None:
    """A body without its boundary is an error of ours, never another."""
    with pytest.raises(SeasonProblems, match="not what a form of the desk sends"):
        read_parts(body, "multipart/form-data; boundary=a-boundary-of-its-own")
