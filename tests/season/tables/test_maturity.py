"""Maturity groups in the forms the trade writes them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.season.tables.maturity import MaturityGroup, default_habit, parse_maturity_group

OFFSETS = {"whole": 0.0, "early": 0.2, "mid": 0.5, "late": 0.8}
ROMAN = {-2: "000", -1: "00", 0: "0", 1: "I", 2: "II", 3: "III", 4: "IV"} | {
    5: "V",
    6: "VI",
    7: "VII",
    8: "VIII",
}
ARABIC = {start: label if start <= 0 else str(start) for start, label in ROMAN.items()}


def parse(text: str, *, whole: float = 0.0) -> MaturityGroup:
    """Read a group with the range the tests use."""
    offsets = OFFSETS | {"whole": whole}
    return parse_maturity_group(text, offsets=offsets, lowest=-2.0, highest=8.9)


@pytest.mark.parametrize(
    ("text", "group", "number", "whole"),
    [
        ("IV", "IV", 4.0, True),
        ("iv", "IV", 4.0, True),
        ("MG IV", "IV", 4.0, True),
        ("mg4", "IV", 4.0, True),
        ("MG  4", "IV", 4.0, True),
        ("4", "IV", 4.0, True),
        ("4.7", "IV", 4.7, False),
        ("4.0", "IV", 4.0, False),
        ("IV.6", "IV", 4.6, False),
        ("MG 3.25", "III", 3.25, False),
        ("000", "000", -2.0, True),
        ("00", "00", -1.0, True),
        ("0", "0", 0.0, True),
        ("0.8", "0", 0.8, False),
        ("00.8", "00", -0.2, False),
        ("00.5", "00", -0.5, False),
        ("000.9", "000", -1.1, False),
        ("V late", "V", 5.8, False),
        ("late V", "V", 5.8, False),
        ("lateV", "V", 5.8, False),
        ("late-V", "V", 5.8, False),
        ("IV early", "IV", 4.2, False),
        ("Early IV", "IV", 4.2, False),
        ("mid III", "III", 3.5, False),
        ("4 late", "IV", 4.8, False),
        ("late MG 4", "IV", 4.8, False),
        ("VIII late", "VIII", 8.8, False),
        ("VIII", "VIII", 8.0, True),
        ("8", "VIII", 8.0, True),
        ("8.9", "VIII", 8.9, False),
        ("  IV\u00a0late ", "IV", 4.8, False),
    ],
)
def test_trade_forms(text: str, group: str, number: float, whole: bool) -> None:
    """Each form the trade uses is read as the group, number and wholeness it stands for."""
    read = parse(text)
    assert (read.group, read.whole) == (group, whole)
    assert read.number == pytest.approx(number, abs=1e-9)
    assert read.text == text


@pytest.mark.parametrize("text", ["IX", "X", "9", "9.0", "12", "99", "X late"])
def test_groups_past_the_model_name_the_range(text: str) -> None:
    """A real group later than the model covers is refused with the range it covers."""
    with pytest.raises(ValueError, match=r"range 000 to 8\.9"):
        parse(text)


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "4..7", "4-5", "IIII", "IV-V", "four", "-", "0000", "007", "04", "4.", ".7"),
        *("4.777", "IV V", "I V", "4 7", "4,7", "4.7 late", "early IV late", "late", "MG", "VX"),
        *("4e0", "nan", "-1", "IVb"),
        *("\uff14", "\u0131v"),  # full-width four and dotless i only look right
    ],
)
def test_what_is_no_group_is_refused_with_a_reason(text: str) -> None:
    """Slips, ranges, words and look-alike letters are never read as some group."""
    with pytest.raises(ValueError, match=r"\w"):
        parse(text)


@pytest.mark.parametrize(
    ("text", "word"),
    [("IV-V", "range"), ("4-5", "range"), ("-1", "00"), ("4,7", "point"), ("4.7 late", "not both")],
)
def test_common_slips_are_named(text: str, word: str) -> None:
    """The reason names the slip, so that the person knows what to change."""
    with pytest.raises(ValueError, match=word):
        parse(text)


def test_whole_group_takes_the_place_it_is_given() -> None:
    """Where a whole group stands is decided by the offsets, not by the parser."""
    assert parse("IV", whole=0.4).number == pytest.approx(4.4)
    assert parse("IV.0", whole=0.4).number == pytest.approx(4.0)


@given(start=st.sampled_from(sorted(ROMAN)), tenths=st.integers(0, 9), data=st.data())
def test_all_writings_of_one_group_agree(start: int, tenths: int, data: st.DataObject) -> None:
    """Roman or Arabic, with or without MG, blanks or capitals: one group, one number."""
    label = data.draw(st.sampled_from([ROMAN[start], ARABIC[start]]))
    prefix = data.draw(st.sampled_from(["", "MG", "MG ", "mg  "]))
    text = f"{prefix}{label}.{tenths}"
    text = data.draw(st.sampled_from([text, text.lower(), f" {text} "]))
    read = parse(text)
    assert read.group == ROMAN[start]
    assert read.number == pytest.approx(start + tenths / 10, abs=1e-9)
    assert not read.whole


@given(
    start=st.sampled_from(sorted(ROMAN)),
    position=st.sampled_from([None, "early", "mid", "late"]),
    whole=st.floats(0.0, 0.9),
)
def test_group_round_trips(start: int, position: str | None, whole: float) -> None:
    """Reading what was typed again gives the same value, and the label leads back to its group."""
    read = parse(f"{position} {ROMAN[start]}" if position else ROMAN[start], whole=whole)
    assert parse(read.text, whole=whole) == read
    assert parse(read.group, whole=whole).group == read.group
    assert start <= read.number < start + 1


@given(st.text(alphabet="0123456789IVXivxMGmg.- earlymidt", max_size=12) | st.text(max_size=12))
def test_any_text_is_a_group_in_range_or_refused(text: str) -> None:
    """No text crashes the parser or yields a number outside the range."""
    try:
        number = parse(text).number
    except ValueError:
        return
    assert -2.0 <= number <= 8.9


def test_default_habit_changes_at_the_given_place() -> None:
    """Groups from the given place on are determinate, earlier ones indeterminate."""
    assert default_habit(4.9, determinate_from=5.0) == "indeterminate"
    assert default_habit(5.0, determinate_from=5.0) == "determinate"
