"""Two desks on one folder: a second one says so, and both stay right."""

from __future__ import annotations

import http.client
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from commands import process_environment
from desk_season import Parsed, client_of, log_of, read, sent

from stagecast.cli.desk_command import ANOTHER, OTHER_PORT
from stagecast.desk.serve import at_desk

pytestmark = pytest.mark.allow_hosts(["127.0.0.1"])


def answers(host: str, token: str = "") -> bool:
    """Whether a desk answers there."""
    with closing(http.client.HTTPConnection(host, timeout=600)) as connection:
        connection.request("GET", f"/visit?field=F1&{token}")
        return connection.getresponse().status == 200


@contextmanager
def desk_command(folder: Path, *options: str) -> Iterator[tuple[str, str]]:
    """The command in a process of its own: the host it answers at, and all it says first."""
    ran = subprocess.Popen(
        [sys.executable, "-u", "-m", "stagecast", "desk", str(folder), *options],
        env=process_environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert ran.stdout is not None
        said = ""
        while "Ctrl-C ends the desk" not in said:
            line = ran.stdout.readline()
            assert line, said
            said += line
        here = next(url for url in re.findall(r"http://\S+", said) if "//127.0.0.1:" in url)
        host = urlsplit(here).netloc
        assert answers(host, urlsplit(here).query)
        yield host, said
        ran.send_signal(signal.SIGINT if os.name == "posix" else signal.SIGTERM)
        _, err = ran.communicate(timeout=600)
        assert (ran.returncode, err) == (0, "")
    finally:
        ran.kill()
        ran.wait()


def test_a_second_desk_says_so_and_opens(season: Path) -> None:
    """A scout who forgot the first one reads it; both answer, and once one has ended it is over."""
    with desk_command(season) as (first, said):
        assert ANOTHER not in said
        with desk_command(season, "--as-of", "2026-07-07") as (second, said):
            assert ANOTHER in said
            assert first != second
            assert answers(first)
    with desk_command(season) as (_, said):
        assert ANOTHER not in said


def test_a_killed_desk_is_none(season: Path) -> None:
    """However the first one ended, the next does not speak of it."""
    script = (
        "import os, pathlib, sys\n"
        "from stagecast.desk.serve import at_desk\n"
        "with at_desk(pathlib.Path(sys.argv[1])) as another:\n"
        "    print(another, flush=True)\n"
        "    os._exit(9)\n"
    )
    for _ in range(2):
        ran = subprocess.run(
            [sys.executable, "-c", script, str(season)],
            env=process_environment(), capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert (ran.returncode, ran.stdout) == (9, "False\n")


@pytest.mark.allow_hosts(["127.0.0.1", "192.0.2.1"])  # asking the way there sends nothing
def test_a_second_address_for_phones_is_told(season: Path) -> None:
    """A phone keeps what it counted by address: the second desk on the network has another one."""
    with desk_command(season, "--lan") as (first, said):
        assert OTHER_PORT not in said
        with desk_command(season, "--lan") as (second, said):
            assert (ANOTHER in said, OTHER_PORT in said) == (True, True)
            assert first != second


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="who may write is POSIX's")
def test_a_folder_that_cannot_be_written_to_has_its_desk(season: Path) -> None:
    """To look something up no lock is needed."""
    season.chmod(0o500)
    try:
        with at_desk(season) as another:
            assert not another
    finally:
        season.chmod(0o700)


def test_a_lock_that_cannot_be_had_stops_no_desk(season: Path) -> None:
    """As where the folder is gone, which is told by the pages."""
    shutil.rmtree(season)
    with at_desk(season) as another:
        assert not another


def test_what_one_desk_logs_shows_in_the_other(season: Path) -> None:
    """At once, both ways, and nothing of either is lost; a visit sent at both is logged once."""
    one, other = client_of(season), client_of(season)
    read(one, "/")
    read(other, "/")
    assert one.post("/visit?field=F1", data=sent(stage="R3", notes="at one")).status_code == 303
    assert "at one" in read(other, "/field?field=F1").text
    assert other.post("/visit?field=F1", data=sent(stage="R3", notes="at other")).status_code == 303
    assert "at other" in read(one, "/field?field=F1").text
    again = one.post("/visit?field=F1", data=sent(stage="R3", notes="at other"))
    assert "again=1" in again.headers["location"]
    assert sorted(visit.notes for visit in log_of(season).visits) == ["at one", "at other"]


def test_a_change_at_one_desk_is_told_at_the_other(season: Path) -> None:
    """Of two who change a field the second sees what the first wrote and keeps what he typed."""
    one, other = client_of(season), client_of(season)
    place = "/edit/row?of=fields&field=F1"
    forms = [read(client, place).inputs for client in (one, other)]
    column = next(name for name in forms[0] if name.startswith("c-maturity"))
    saved = one.post("/edit/row?of=fields", data=forms[0] | {column: "3.9"})
    assert saved.status_code == 303, Parsed(saved.text).text
    told = other.post("/edit/row?of=fields", data=forms[1] | {column: "4.1"})
    assert told.status_code == 409
    assert "Somebody else changed fields.csv" in Parsed(told.text).text
    assert Parsed(told.text).inputs[column] == "4.1"
    assert read(one, place).inputs[column] == "3.9"
