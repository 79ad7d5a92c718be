"""Who may ask the desk for anything, from where, and how much they may send."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from commands import process_environment, run_command
from desk_season import FORM_TOKEN, HERE, Parsed, TestClient, build, client_of, log_of, sent

from stagecast.cli import desk_command
from stagecast.desk.guard import LARGEST_BODY
from stagecast.desk.serve import addresses, listening
from stagecast.season.log.entries import LOG_FILE

LAN = "http://192.0.2.7:8123"
TOKEN = "the-token-of-the-address"
pytestmark = pytest.mark.allow_hosts(["127.0.0.1"])
FORM = {"content-type": "application/x-www-form-urlencoded"}


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season into which nothing is logged here."""
    return build(tmp_path_factory.mktemp("guarded") / "season")


@pytest.fixture
def client(season: Path) -> Iterator[TestClient]:
    """A browser's side of its desk; afterwards nothing is in the log."""
    yield client_of(season)
    assert not (season / LOG_FILE).exists()


# --- on this computer -----------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1:8123", "localhost:8123", "LOCALHOST", "127.0.0.1"])
def test_this_computers_own_names_are_answered(client: TestClient, host: str) -> None:
    """By number and by name, with a port and without one."""
    assert client.get("/visit?field=F1", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8123", "127.0.0.1.evil.example", "127.0.0.2", "localhost.",
     "localhost.evil.example:8123", "192.0.2.7:8123", "[::1]:8123", "0.0.0.0", "2130706433"],
)  # fmt: skip
def test_other_names_are_refused(client: TestClient, host: str) -> None:
    """A name that a stranger points at this computer reads and writes nothing."""
    for answer in (
        client.get("/visit?field=F1", headers={"host": host}),
        client.get(f"/?token={TOKEN}", headers={"host": host}),
        client.post("/visit?field=F1", data=sent(stage="R3"), headers={"host": host}),
    ):
        assert answer.status_code == 403
        assert "on this computer only" in answer.text
        assert "F1" not in answer.text
        assert FORM_TOKEN not in answer.text
        assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("host", ["", "a b", "127.0.0.1/x", "user@127.0.0.1", "127.0.0.1:x", "[]"])
def test_a_host_that_is_none_is_refused(client: TestClient, host: str) -> None:
    """What cannot be a host is not looked at further."""
    assert client.get("/", headers={"host": host}).status_code == 400


def test_two_hosts_are_refused(client: TestClient) -> None:
    """Nobody can show one name to the guard and another one to the page."""
    headers = [("host", "127.0.0.1"), ("host", "evil.example")]
    assert client.get("/", headers=headers).status_code == 400


# --- forms ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "https://127.0.0.1:8123"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "http://127.0.0.1"},
        {"origin": "null"},
        {"origin": "null", "sec-fetch-site": "cross-site"},
        {"origin": HERE, "sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": ""},
    ],
)
def test_forms_of_other_pages_are_refused(client: TestClient, headers: dict[str, str]) -> None:
    """Even with our own token in it: what another page sends is not taken."""
    answer = client.post("/visit?field=F1", data=sent(stage="R3"), headers=headers)
    assert answer.status_code == 403
    assert "not sent from a page of the desk" in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": HERE},
        {"origin": HERE, "sec-fetch-site": "same-origin"},
        {"origin": "null", "sec-fetch-site": "same-origin"},
    ],
)
def test_our_own_forms_are_taken(client: TestClient, headers: dict[str, str]) -> None:
    """As browsers send them, also those that are told to send no referrer: it comes to the form."""
    answer = client.post("/visit?field=F1", data=sent(stage="R9"), headers=headers)
    assert (answer.status_code, "not a growth stage" in answer.text) == (422, True)


@pytest.mark.parametrize("token", ["", "another", FORM_TOKEN + " ", "\U0001f41b"])
def test_a_form_without_its_token_is_kept_and_not_logged(client: TestClient, token: str) -> None:
    """Such as one opened before the desk was started anew: it comes back with what was typed."""
    typed = sent(stage="R3", notes="kept") | {"form_token": token}
    answer = client.post("/visit?field=F1", data=typed)
    page = Parsed(answer.text)
    assert answer.status_code == 403
    assert "send it again" in page.text
    assert (page.inputs["stage"], page.inputs["notes"]) == ("R3", "kept")
    assert page.inputs["form_token"] == FORM_TOKEN


@pytest.mark.parametrize(
    "body",
    [b"\xff\xfe", "stage=\u00e9".encode(), b"&".join([b"stage=R3"] * 500), b"", b"=&=;%zz"],
)  # fmt: skip
def test_what_is_no_form_is_refused(client: TestClient, body: bytes) -> None:
    """Bytes that no form of ours sends end in a sentence."""
    answer = client.post("/visit?field=F1", content=body, headers=FORM)
    assert answer.status_code in (404, 409)
    assert "Traceback" not in answer.text


# --- sizes ----------------------------------------------------------------------------------


def test_too_much_is_refused_by_what_it_says_and_by_what_it_is(client: TestClient) -> None:
    """A long body is not read where it is announced, nor to its end where it is not."""
    announced = client.post(
        "/visit?field=F1", content=b"", headers={**FORM, "content-length": str(LARGEST_BODY + 1)}
    )
    assert announced.status_code == 413
    read = []

    def parts() -> Iterator[bytes]:
        for number in range(100):
            read.append(number)
            yield b"notes=" + b"x" * 100_000

    streamed = client.post("/visit?field=F1", content=parts(), headers=FORM)
    assert streamed.status_code == 413
    assert "Too long" in streamed.text


@pytest.mark.parametrize("length", ["-1", "1e9", "\u0665", "9" * 5000, "0x10", " "])
def test_odd_lengths_are_refused(client: TestClient, length: str) -> None:
    """A length that is no number, or no number of this world."""
    headers = {**FORM, "content-length": length.encode("utf-8")}
    answer = client.post("/visit?field=F1", content=b"", headers=headers)
    assert answer.status_code in (400, 413)


# --- other devices --------------------------------------------------------------------------


@pytest.fixture
def away(season: Path) -> TestClient:
    """Another device on the network."""
    return client_of(season, address=LAN, token=TOKEN)


@pytest.mark.parametrize(
    "given", ["", "?token=", "?token=x", f"?token={TOKEN[:-1]}", "?Token=" + TOKEN]
)
def test_without_the_token_nothing_is_shown(away: TestClient, given: str) -> None:
    """Neither to other devices nor here, and a wrong one sets no cookie."""
    for address in (LAN, HERE):
        answer = away.get(f"{address}/{given}")
        assert answer.status_code == 403
        assert "whole address" in answer.text
        assert "F1" not in answer.text
        assert "set-cookie" not in answer.headers
    assert away.post("/visit?field=F1", data=sent(stage="R3")).status_code == 403
    assert away.post(f"/visit?field=F1&token={TOKEN}", data=sent(stage="R3")).status_code == 403


def test_the_token_in_the_address_opens_the_desk(away: TestClient) -> None:
    """It becomes a cookie that no script reads and no other site sends; pages do not show it."""
    answer = away.get(f"/week?token={TOKEN}&x=1")
    assert answer.status_code == 200
    assert 'content="0;url=/week?x=1"' in answer.text
    assert TOKEN not in answer.text
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "path=/" in cookie
    assert "domain" not in cookie
    assert "max-age" not in cookie
    for address in ("/", "/week?x=1", "/visit?field=F1"):
        page = away.get(address)
        assert page.status_code == 200
        assert TOKEN not in page.text


def test_the_welcome_goes_on_to_our_own_pages_only(away: TestClient) -> None:
    """Whatever stands before the token, one stays here."""
    answer = away.get(f"{LAN}//evil.example/x?token={TOKEN}")
    assert 'content="0;url=/evil.example/x"' in answer.text


def test_other_devices_may_log(tmp_path: Path) -> None:
    """With the cookie the forms are taken, by their origin and token as ever."""
    folder = build(tmp_path / "season")
    away = client_of(folder, address=LAN, token=TOKEN)
    away.get(f"/?token={TOKEN}")
    refused = away.post(
        "/visit?field=F1", data=sent(stage="R3"), headers={"origin": "http://evil.example"}
    )
    assert refused.status_code == 403
    taken = away.post("/visit?field=F1", data=sent(stage="R3"), headers={"origin": LAN})
    assert taken.status_code == 303
    assert len(log_of(folder).visits) == 1


# --- the command ----------------------------------------------------------------------------


@pytest.mark.allow_hosts(["127.0.0.1", "192.0.2.1"])  # asking the way there sends nothing
def test_only_this_computer_is_listened_on() -> None:
    """Unless other devices are to be answered; the token stands in the address then."""
    with closing(listening(port=0, lan=False)) as here:
        name, port = here.getsockname()
        assert name == "127.0.0.1"
        assert list(addresses(here, token=None)) == [f"http://127.0.0.1:{port}/"]
    with closing(listening(port=0, lan=True)) as everywhere:
        name, port = everywhere.getsockname()
        assert name == "0.0.0.0"
        told = list(addresses(everywhere, token=TOKEN))
        assert told[-1] == f"http://127.0.0.1:{port}/?token={TOKEN}"
        assert all(address.endswith(f":{port}/?token={TOKEN}") for address in told)


def test_a_port_that_is_taken_is_told(season: Path) -> None:
    """One sentence and what to do."""
    with closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        ran = run_command("desk", season, "--port", str(taken.getsockname()[1]))
    assert ran.code == 2
    assert ran.err.startswith("--port: cannot listen there")
    assert ran.err.count("\n") == 1
    assert run_command("desk", season, "--port", "99999999").code == 2


def test_no_season_folder_is_told_before_anything_listens(tmp_path: Path) -> None:
    """The same sentence as of every command."""
    ran = run_command("desk", tmp_path)
    assert (ran.code, ran.out) == (2, "")
    assert "season.toml: there is no such file" in ran.err


def test_without_the_extra_one_sentence_says_what_to_install(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where Starlette is not installed."""
    monkeypatch.setitem(sys.modules, "starlette", None)
    ran = run_command("desk", season)
    assert ran.code == 2
    assert ran.err == (
        'stagecast desk: a part of it is not installed; pip install "stagecast[desk]"\n'
    )
    assert desk_command.desk.__doc__


def test_the_command_serves_until_it_is_interrupted(season: Path) -> None:
    """In a process of its own: it prints its address, answers there, and ends without a word."""
    ran = subprocess.Popen(
        [sys.executable, "-u", "-m", "stagecast", "desk", str(season), "--as-of", "2026-07-07"],
        env=process_environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert ran.stdout is not None
        host = urlsplit(ran.stdout.readline().strip()).netloc
        with closing(http.client.HTTPConnection(host, timeout=600)) as connection:
            connection.request("GET", "/visit?field=F1")
            answer = connection.getresponse()
            page = answer.read().decode("utf-8")
            assert (answer.status, "Log a visit" in page) == (200, True)
            assert answer.headers["Server"] is None
        with closing(http.client.HTTPConnection(host, timeout=600)) as connection:
            connection.request("GET", "/", headers={"Host": "evil.example"})
            assert connection.getresponse().status == 403
        ran.send_signal(signal.SIGINT if os.name == "posix" else signal.SIGTERM)
        _, err = ran.communicate(timeout=600)
    finally:
        ran.kill()
    assert (ran.returncode, err) == (0, "")
