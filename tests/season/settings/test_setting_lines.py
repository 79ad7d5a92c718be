"""Settings changed on their lines: what is typed is what is read, and the rest stays as it was."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.season.new import write_new_season
from stagecast.season.settings.lines import (
    elsewhere,
    setting_lines,
    with_scout,
    with_settings,
)

TEXT = """\
# Settings.

year = 2026  # of the season
units = "us"\r
working_days = ["mon", "tue"]

# The most fields of a day.
# fields_per_day = 8

[home]
latitude = 36.1

[[scouts]]
name = "Kim # 1"
note = \"\"\"
year = 1
\"\"\"
where = { a = 1 }
"""


def test_settings_stand_by_line_with_their_remarks() -> None:
    """Those made and those that could be, but for what a line alone does not say."""
    found = [(s.line, s.section, s.key, s.kind, s.shown, s.made) for s in setting_lines(TEXT)]
    assert found == [
        (3, "", "year", "plain", "2026", True),
        (4, "", "units", "text", "us", True),
        (5, "", "working_days", "list", "mon, tue", True),
        (8, "", "fields_per_day", "plain", "8", False),
        (11, "home", "latitude", "plain", "36.1", True),
        (14, "scouts", "name", "text", "Kim # 1", True),
    ]
    assert setting_lines(TEXT)[3].remark == "The most fields of a day."


def test_what_takes_more_than_a_line_is_named_with_its_line() -> None:
    """A text over several lines and a table: where a person finds them in the file."""
    assert elsewhere(TEXT) == [(15, "scouts Kim # 1 note"), (18, "scouts Kim # 1 where")]


def test_a_section_that_is_a_remark_is_made_with_its_setting() -> None:
    """Its settings are told under its own name, not that of the section before."""
    text = "[alerts]\n# pest_days = 5\n\n# [[scouts]]\r\n# name = 'A'\n# starts = '6:30'\n"
    found = [(one.section, one.key) for one in setting_lines(text)]
    assert found == [("alerts", "pest_days"), ("scouts", "name"), ("scouts", "starts")]
    assert with_settings(text, {5: "Ann"}) == (
        "[alerts]\n# pest_days = 5\n\n[[scouts]]\r\nname = \"Ann\"\n# starts = '6:30'\n"
    )
    assert tomllib.loads(with_settings(text, {2: "7"})) == {"alerts": {"pest_days": 7}}


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
def test_one_more_scout_stands_at_the_end(name: str) -> None:
    """TOML's own reader finds a scout more, of that name, and all else as before."""
    before = tomllib.loads(TEXT.replace("\r", ""))
    after = tomllib.loads(with_scout(TEXT.replace("\r", ""), name))
    assert after["scouts"] == [*before["scouts"], {"name": name}]
    assert {k: v for k, v in after.items() if k != "scouts"} == {
        k: v for k, v in before.items() if k != "scouts"
    }


def test_a_changed_line_keeps_its_remark_and_line_end() -> None:
    """Only the value is another; a setting that could be is made, and a blank one taken back."""
    found = with_settings(TEXT, {3: "2027", 4: 'metric"', 5: "mon,wed", 8: "9", 11: ""})
    assert found == (
        TEXT.replace("year = 2026  #", "year = 2027  #")
        .replace('"us"\r', '"metric\\""\r')
        .replace('["mon", "tue"]', '["mon", "wed"]')
        .replace("# fields_per_day = 8", "fields_per_day = 9")
        .replace("latitude = 36.1", "# latitude = 36.1")
    )


def test_what_nobody_changed_stays() -> None:
    """The values as they are shown, sent back, change nothing; nor does a line that is none."""
    shown = {s.line: s.shown if s.made else "" for s in setting_lines(TEXT)}
    assert with_settings(TEXT, shown) == TEXT
    assert with_settings(TEXT, {1: "x", 16: "2", 999: "3"}) == TEXT


def test_a_new_season_can_be_set_up_here(tmp_path: object) -> None:
    """Every section of the file that `stagecast new` writes has settings that can be made."""
    from pathlib import Path

    folder = Path(str(tmp_path)) / "new"
    write_new_season(folder, year=2026)
    text = (folder / "season.toml").read_text()
    found = setting_lines(text)
    sections = {line.strip("[]") for line in text.split("\n") if line.startswith("[")}
    assert sections <= {one.section for one in found}
    made = with_settings(text, {one.line: one.shown for one in found})
    assert "fields_per_day" in tomllib.loads(made)


@pytest.mark.parametrize("said", ['"', "\\", "a\nb", "# x", "1 # x", "]", "\x7f\x00", "true", "8"])
def test_no_text_writes_another_setting(said: str) -> None:
    """Whatever is typed for one setting: all others read as before."""
    before = tomllib.loads(TEXT.replace("\r", ""))
    for line, key in ((3, "year"), (4, "units"), (5, "working_days")):
        after = tomllib.loads(with_settings(TEXT, {line: said}).replace("\r", ""))
        assert after.keys() == before.keys()
        assert {k: v for k, v in after.items() if k != key} == {
            k: v for k, v in before.items() if k != key
        }


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
def test_a_text_reads_back_as_it_was_typed(said: str) -> None:
    """TOML's own reader, of Python's library, finds the text that was typed."""
    after = tomllib.loads(with_settings('units = "\u00fc"\n', {1: said}))
    assert after.get("units", "") == said.strip()
