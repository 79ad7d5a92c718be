"""[alerts] and [mail] of season.toml: what is accepted, what it changes, how faults are told."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from season_builder import build_season

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.knowledge import load
from stagecast.season.folder import SeasonFolder, read_season

MAIL = '[mail]\nserver = "mail.example.org"\nfrom = "me@example.org"\n'


def season_with(folder: Path, text: str) -> SeasonFolder:
    """A small season with some settings more."""
    path = build_season(folder / "season")
    with (path / "season.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n{text}\n")
    return read_season(path)


def faults(folder: Path, text: str) -> dict[str | None, Problem]:
    """What is wrong with settings, by setting."""
    with pytest.raises(SeasonProblems) as found:
        season_with(folder, text)
    return {problem.column: problem for problem in found.value.problems}


def test_a_season_sets_its_own_days_and_the_rest_is_as_it_ships(tmp_path: Path) -> None:
    """What [alerts] says is what the alerts are made with, marked as the user's own."""
    season = season_with(
        tmp_path, '[alerts]\nbloom_days = 4\nbloom_chance = 0.7\nquiet_to = "6 am"'
    )
    own, shipped = season.knowledge.alerts, load().alerts
    assert (int(own.bloom_days), float(own.bloom_chance)) == (4, 0.7)
    assert (own.bloom_days.source, own.bloom_days.tag) == ("yours", "OWN")
    assert (own.quiet_from, own.quiet_to) == (shipped.quiet_from, "6:00")
    assert own.window_days == shipped.window_days


def test_every_bad_value_is_named_with_what_is_accepted(tmp_path: Path) -> None:
    """All at once, each at its setting."""
    found = faults(
        tmp_path,
        '[alerts]\nbloom_days = 0\nbloom_chance = 1.5\nquiet_from = "25:00"\ncommand = "a.sh"\n'
        'window = 3\n[mail]\nserver = "a b"\nport = 70000\nfrom = "me"\nto = ["you"]',
    )
    keys = ("bloom_days", "bloom_chance", "quiet_from", "command", "window")
    assert set(found) == {f"alerts.{key}" for key in keys} | {
        "mail.server", "mail.port", "mail.from", "mail.to"}  # fmt: skip
    assert all(problem.accepted for problem in found.values())


def test_a_password_in_the_file_is_refused_and_not_repeated(tmp_path: Path) -> None:
    """It is told where it belongs, and none of the sentences holds it."""
    text = MAIL + 'to = "a@example.org"\npassword = "grackle-77"'
    with pytest.raises(SeasonProblems) as found:
        season_with(tmp_path, text)
    told = "\n".join(found.value.sentences())
    assert "STAGECAST_MAIL_PASSWORD" in told
    assert "grackle" not in told


@pytest.mark.parametrize(
    ("to", "recipients"),
    [
        ('"a@example.org"', [("", "a@example.org")]),
        ('["a@example.org", "b@example.org"]', [("", "a@example.org"), ("", "b@example.org")]),
        (
            '{ "kim" = "a@example.org", "all" = ["b@example.org"] }',
            [("kim", "a@example.org"), ("", "b@example.org")],
        ),
    ],
)
def test_mail_goes_to_all_or_to_scouts(
    to: str, recipients: list[tuple[str, str]], tmp_path: Path
) -> None:
    """One address, several, or one by scout, whose name may be in any case."""
    season = season_with(tmp_path, f'{MAIL}to = {to}\n[[scouts]]\nname = "Kim"')
    assert season.settings.mail is not None
    assert list(season.settings.mail.to) == recipients
    assert season.settings.mail.port == 587


@pytest.mark.parametrize(
    ("to", "said"),
    [
        ('{ "Lee" = "a@example.org" }', "no scout"),
        ("[]", "nobody"),
        ('["a@example.org", "a@example.org"]', "twice"),
        ('["a@example.org\\nBcc: b@example.org"]', "not an address"),
        ('["<a@example.org>"]', "not an address"),
    ],
)
def test_addresses_that_cannot_be_are_told(to: str, said: str, tmp_path: Path) -> None:
    """An unknown scout, nobody, one address twice, and text that would forge a header."""
    assert said in faults(tmp_path, f'{MAIL}to = {to}\n[[scouts]]\nname = "Kim"')["mail.to"].message


@given(st.times(), st.integers(0, 23), st.integers(0, 23))
def test_quiet_hours_go_past_midnight(time: dt.time, first: int, last: int) -> None:
    """An hour is quiet if walking on from the first hour meets it before the last."""
    rule = load().alerts.model_copy(
        update={"quiet_from": f"{first}:00", "quiet_to": f"{last}:00"}
    )  # fmt: skip
    hours = [(first + step) % 24 for step in range((last - first) % 24)]
    assert rule.quiet_at(time) == (time.hour in hours)
