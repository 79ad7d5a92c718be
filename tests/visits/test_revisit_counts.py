"""When to be back, fed by counts and treatments: the interval, the crossing, the efficacy check."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import replace
from pathlib import Path
from statistics import NormalDist

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from log_builder import KNOWLEDGE, at, log_of, planned, sets_of, treatment, visit
from season_builder import ONE_DAY, FieldLine, StationFile, VisitLine, build_season, day

from stagecast.season.log.entries import LoggedVisit, Treatment
from stagecast.visits.pressure import CountedPressure, Crossing, Density, pressure_of
from stagecast.visits.reentry import EfficacyCheck, no_entry_on
from stagecast.visits.revisit import Interval, NextVisit
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import walk_of
from stagecast.words.visits import crossing_text, efficacy_check_text, reason_texts

SEEN = day(7, 20)
AS_OF = SEEN + ONE_DAY
BUGS, REDBANDED = "stink-bugs", "redbanded-stink-bug"
DECISIONS = KNOWLEDGE.decisions
RULE = KNOWLEDGE.revisit
NORMAL = NormalDist()


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One field between R3 and R5 in late July, with no visit in visits.csv."""
    return build_season(
        tmp_path_factory.mktemp("counts"), stations=(StationFile(first=dt.date(2023, 1, 1)),)
    )


def field(folder: Path, *entries: LoggedVisit | Treatment, as_of: dt.date = AS_OF) -> FieldDay:
    """The plan of the first field with a log of some entries."""
    return planned(folder, log_of(*entries), as_of).fields[0]


def counted(folder: Path, pest: str, *counts: float) -> FieldDay:
    """The plan a day after sets were taken."""
    return field(folder, visit(SEEN, sets_of(pest, counts)))


def interval(found: NextVisit) -> Interval:
    """The first reason, which is the interval."""
    reason = found.reasons[0]
    assert isinstance(reason, Interval)
    return reason


def first_words(found: NextVisit) -> str:
    """The first reason in words."""
    return reason_texts(found, DECISIONS.treated)[0]


def crossings(found: NextVisit) -> list[Crossing]:
    """The thresholds that may be crossed before the usual day."""
    return [reason for reason in found.reasons if isinstance(reason, Crossing)]


def checks(found: NextVisit) -> list[EfficacyCheck]:
    """The treatments to be looked at."""
    return [reason for reason in found.reasons if isinstance(reason, EfficacyCheck)]


def chance(mean: float, threshold: float, k: float, sets: int, days: float, rate: float) -> float:
    """Probability of being above after some days, worked out anew."""
    error = math.sqrt((1 / mean + 1 / k) / sets + (float(DECISIONS.growth.sd) * days) ** 2)
    return NORMAL.cdf((math.log(mean / threshold) + rate * days) / error)


# --- the interval -----------------------------------------------------------------------------


def test_nothing_in_many_sets_is_ten_days(season: Path) -> None:
    """Twelve empty sets are virtually none: the long interval is given, and said why."""
    found = counted(season, BUGS, *[0.0] * 12).visit
    why = interval(found)
    assert (why.days, why.last_visit) == (10, SEEN)
    assert isinstance(why.found, CountedPressure)
    assert (why.found.pressure, why.found.cause) == ("virtually none", None)
    assert found.due is not None
    assert found.due <= SEEN + 10 * ONE_DAY
    assert found.due == SEEN + 10 * ONE_DAY or found.pulled


def test_some_in_the_sets_is_seven_days(season: Path) -> None:
    """A fifth of the threshold is some pressure, told with number, unit and share."""
    found = counted(season, BUGS, 2, 2, 1, 2).visit
    assert found.due == SEEN + 7 * ONE_DAY
    assert first_words(found) == (
        "7 days: last visit 20 Jul, some: stink bugs 1.8 per 25 sweeps, 19 percent of the "
        "threshold 9"
    )


def test_far_above_the_threshold_is_five_days(season: Path) -> None:
    """Where the sets leave no doubt nothing is projected: the short interval holds."""
    found = counted(season, BUGS, 60, 50, 70, 55, 65, 60).visit
    assert found.due == SEEN + 5 * ONE_DAY
    assert "above its threshold: stink bugs 60 per 25 sweeps, threshold " in first_words(found)
    assert crossings(found) == []


@pytest.mark.parametrize(("word", "days"), [("near threshold", 5), ("some", 7)])
def test_words_of_visits_csv_still_count(word: str, days: int, tmp_path: Path) -> None:
    """A field without counts has the interval of the word noted for it."""
    station = StationFile(first=dt.date(2024, 1, 1))
    folder = build_season(tmp_path, stations=(station,), visits=(VisitLine("F1", SEEN, word),))
    found = field(folder).visit
    assert found.due == SEEN + days * ONE_DAY
    assert found.reasons[0] == Interval(days, SEEN, word)


def test_counts_go_before_the_word_of_the_same_day_and_not_of_a_later_one(tmp_path: Path) -> None:
    """Numbers are better than a word; but a later visit is the last one, counts or none."""
    station = StationFile(first=dt.date(2024, 1, 1))
    entry = visit(SEEN, sets_of(BUGS, (2, 2, 1, 2)))
    same = build_season(
        tmp_path / "same", stations=(station,), visits=(VisitLine("F1", SEEN, "near threshold"),)
    )
    assert field(same, entry).visit.interval_days == 7
    line = VisitLine("F1", SEEN + ONE_DAY, "near threshold")
    later = build_season(tmp_path / "later", stations=(station,), visits=(line,))
    found = field(later, entry, as_of=SEEN + ONE_DAY).visit
    assert (found.last_visit, found.interval_days) == (SEEN + ONE_DAY, 5)


def test_counts_after_the_day_asked_for_are_not_known(season: Path) -> None:
    """As it stood: a visit of tomorrow changes nothing today."""
    alone = field(season, as_of=SEEN - ONE_DAY).visit
    with_it = field(season, visit(SEEN, sets_of(BUGS, (90,) * 4)), as_of=SEEN - ONE_DAY).visit
    assert with_it == alone


def test_counts_that_do_not_matter_yet_shorten_no_interval(tmp_path: Path) -> None:
    """Many stink bugs before pods are no pressure: the usual interval is given."""
    station = StationFile(first=dt.date(2024, 1, 1))
    folder = build_season(tmp_path, stations=(station,))
    seen = day(6, 1)
    entry = visit(seen, sets_of(BUGS, (90,) * 4), stage="V3")
    found = field(folder, entry, as_of=seen).visit
    assert found.interval_days is not None
    assert found.reasons[0] == Interval(7, seen, None)
    assert crossings(found) == []


# --- the crossing -----------------------------------------------------------------------------


def density(mean: float, *, sets: int = 12, k: float = 2.0, threshold: float = 9.0) -> Density:
    """Stink bugs per 25 sweeps that grow at the usual rate."""
    return Density(
        KNOWLEDGE.pests[BUGS], mean, threshold, "sweeps", 25, sets, k, DECISIONS.growth.per_day
    )


@given(st.floats(0.1, 12), st.integers(1, 20), st.floats(0.2, 10), st.floats(1, 20))
def test_the_crossing_is_the_first_day_with_the_probability(
    mean: float, sets: int, k: float, threshold: float
) -> None:
    """The day said is the first on which the formula gives ten percent, within ten days."""
    one = density(mean, sets=sets, k=k, threshold=threshold)
    found = pressure_of([one], "some", counted_on=SEEN, decisions=DECISIONS).crossing
    limit, rate = float(DECISIONS.growth.crossing), float(DECISIONS.growth.per_day)
    furthest = int(DECISIONS.growth.furthest)
    chances = [chance(mean, threshold, k, sets, d, rate) for d in range(furthest + 1)]
    first = next((d for d, share in enumerate(chances) if share >= limit), None)
    assert (found is None) == (first is None)
    if found is not None and first is not None:
        assert (found.day - SEEN).days == first


def test_the_soonest_of_several_pests_counts() -> None:
    """A slow pest far below its threshold does not hide a fast one near it."""
    fast, slow = density(4.5), density(2.5)
    alone = [
        pressure_of([one], "some", counted_on=SEEN, decisions=DECISIONS).crossing
        for one in (fast, slow)
    ]
    both = pressure_of([slow, fast], "some", counted_on=SEEN, decisions=DECISIONS).crossing
    assert alone[0] is not None
    assert alone[1] is None or alone[1].day > alone[0].day
    assert both == alone[0]


def test_the_visit_comes_before_the_crossing_and_says_so(season: Path) -> None:
    """Two redbanded stink bugs where four are too many: due before the day that is named."""
    found = counted(season, REDBANDED, *[1, 0, 0, 1] * 2).visit
    (crossing,) = crossings(found)
    reason = crossing_text(crossing)
    told = re.match(r"before (\d+) Jul, when redbanded stink bug may pass the threshold of "
                    r"4 per 25 sweeps \(probability (\d+) percent; 0.5 in 8 sets on 20 Jul, "
                    r"growing 0.21 \+/- 0.05 a day\)", reason)  # fmt: skip
    assert told is not None, reason
    assert int(told[2]) >= 10
    assert found.due == day(7, int(told[1])) - ONE_DAY
    assert found.interval_days is not None
    assert 1 <= found.interval_days < 7


def test_what_may_be_above_already_is_due_the_next_day(season: Path) -> None:
    """A field that may be over is not left for long, and the chance is told."""
    found = counted(season, BUGS, 9, 2, 12, 6).visit
    assert found.due == SEEN + ONE_DAY
    (crossing,) = crossings(found)
    assert crossing.day == SEEN
    reason = crossing_text(crossing)
    assert re.search(r"probability \d+ percent; 7.2 in 4 sets on 20 Jul\)", reason)


def test_a_recalled_rate_is_said_to_be_unverified() -> None:
    """The aphid's growth is from memory, and the reason that rests on it says so."""
    aphid = KNOWLEDGE.pests["soybean-aphid"]
    assert aphid.growth is not None
    one = replace(density(90.0, threshold=250.0), pest=aphid, rate=aphid.growth)
    found = pressure_of([one], "some", counted_on=SEEN, decisions=DECISIONS).crossing
    assert found is not None
    assert "a day, unverified)" in crossing_text(found)


def test_zero_and_certain_counts_are_not_projected() -> None:
    """Nothing grows from nothing, what is above has crossed, what is judged has no known error."""
    for one in (density(0.0), replace(density(30.0), above=True), replace(density(8.0), k=None)):
        assert pressure_of([one], "some", counted_on=SEEN, decisions=DECISIONS).crossing is None


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(counts=st.lists(st.integers(0, 15), min_size=1, max_size=8))
def test_counts_only_ever_bring_the_visit_between_the_next_day_and_the_tenth(
    counts: list[int], season: Path
) -> None:
    """Whatever is counted, the field is due after the visit and by the longest interval."""
    found = counted(season, BUGS, *counts).visit
    assert found.interval_days is not None
    assert 1 <= found.interval_days <= int(RULE.quiet_days)
    assert found.due == SEEN + found.interval_days * ONE_DAY


# --- treatments -------------------------------------------------------------------------------

SPRAYED = at(7, 21, 9)


def test_a_treatment_is_checked_three_to_five_days_later(season: Path) -> None:
    """The check lies in its span, the reason says so, and the old density is not projected on."""
    entries = visit(SEEN, sets_of(BUGS, (9, 2, 12, 6))), treatment(SPRAYED, 12)
    found = field(season, *entries, as_of=day(7, 22)).visit
    assert found.not_before == day(7, 24)
    assert found.due is not None
    assert day(7, 24) <= found.due <= day(7, 26)
    (check,) = checks(found)
    assert (check.days_after, check.soonest, check.latest) == ((3, 5), day(7, 24), day(7, 26))
    told = "efficacy check 3 to 5 days after Product A on 21 Jul: 24 Jul to 26 Jul"
    assert efficacy_check_text(check, DECISIONS.treated) == told
    assert crossings(found) == []


@pytest.mark.parametrize("hours", [4, 24, 48, 72, 96, 120, 168, 336])
def test_no_check_falls_inside_the_interval(hours: float, season: Path) -> None:
    """A longer interval puts the check off to the first free day, and the reason names the end."""
    spray = treatment(SPRAYED, hours)
    found = field(season, visit(SEEN), spray, as_of=day(7, 22)).visit
    assert found.due is not None
    assert found.not_before is not None
    log = log_of(spray)
    assert no_entry_on(log, "F1", found.due) is None
    assert no_entry_on(log, "F1", found.not_before) is None
    ends = spray.applied_at + dt.timedelta(hours=hours)
    late = ends.date() > day(7, 24) - ONE_DAY
    assert [check.held is not None for check in checks(found)] == [late]
    if late:
        assert found.not_before == ends.date() + ONE_DAY


def test_a_check_that_was_made_is_not_asked_for_again(season: Path) -> None:
    """A visit from the third day on is the check; one before it is not."""
    spray = treatment(SPRAYED, 12)
    early = field(season, spray, visit(day(7, 23)), as_of=day(7, 23)).visit
    made = field(season, spray, visit(day(7, 24)), as_of=day(7, 24)).visit
    assert early.not_before == day(7, 24)
    assert made.not_before is None
    assert checks(made) == []
    assert interval(made).last_visit == day(7, 24)


def test_a_treatment_without_any_visit_is_checked_too(season: Path) -> None:
    """A field that was sprayed and never walked is due for the check, not at once."""
    found = field(season, treatment(SPRAYED, 12), as_of=day(7, 21)).visit
    assert found.due is not None
    assert day(7, 24) <= found.due <= day(7, 26)


def test_counts_after_a_treatment_are_projected_again(season: Path) -> None:
    """What was counted after it may call sooner than the check; entry is open by then."""
    spray = treatment(SPRAYED, 12)
    after = visit(day(7, 22), sets_of(BUGS, (9, 2, 12, 6)))
    found = field(season, spray, after, as_of=day(7, 22)).visit
    assert found.due == day(7, 23)


def test_a_corrected_treatment_asks_for_nothing(season: Path) -> None:
    """Only what stands is checked: the correction's day and product."""
    wrong = treatment(at(7, 10, 9), 12, treatment_id="wrong")
    right = treatment(SPRAYED, 12, product="Product B", treatment_id="right", corrects="wrong")
    found = field(season, wrong, right, visit(SEEN), as_of=day(7, 22)).visit
    (check,) = checks(found)
    assert (check.treatment.product, check.treatment.applied_at) == ("Product B", SPRAYED)


def test_the_week_places_the_check_between_its_days(tmp_path: Path) -> None:
    """With room every day the check is walked on no day before the third, and by the fifth."""
    station = StationFile(first=dt.date(2024, 1, 1))
    everyday = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    fields = (FieldLine("F1"), FieldLine("F2", latitude=36.01))
    folder = build_season(tmp_path, fields=fields, stations=(station,), working_days=everyday)
    plan = planned(folder, log_of(treatment(SPRAYED, 12), visit(SEEN)), day(7, 21))
    walked = walk_of(plan.field("F1")).on
    assert walked is not None
    assert day(7, 24) <= walked <= day(7, 26)


def test_a_field_without_a_log_is_planned_as_before(season: Path) -> None:
    """An empty log, or entries of other fields, change nothing of a field."""
    bare = SeasonDay.open(season, as_of=AS_OF).fields[0].visit
    other = visit(SEEN, sets_of(BUGS, (9,) * 4), field_id="F9")
    assert field(season).visit == field(season, other).visit == bare
