"""When to be back, fed by counts and treatments: the interval, the crossing, the efficacy check."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from log_builder import KNOWLEDGE, at, log_of, planned, sets_of, treatment, visit
from season_builder import ONE_DAY, FieldLine, StationFile, VisitLine, build_season, day

from stagecast.counts.assess import assess
from stagecast.knowledge.pest import Return
from stagecast.knowledge.quantities import Quantity, Tag
from stagecast.season.log.entries import LoggedCount, LoggedSet, LoggedVisit, Treatment
from stagecast.visits.interval import Crossing, Interval, SourceSays
from stagecast.visits.pressure import CountedPressure, Density, counted_pressure, densities
from stagecast.visits.reentry import EfficacyCheck, no_entry_on
from stagecast.visits.revisit import NextVisit, PulledForward
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import walk_of
from stagecast.words.visits import (
    crossing_text,
    efficacy_check_text,
    pressure_text,
    reason_texts,
    source_says_text,
)

SEEN = day(7, 20)
AS_OF = SEEN + ONE_DAY
BUGS, REDBANDED = "stink-bugs", "redbanded-stink-bug"
DECISIONS = KNOWLEDGE.decisions
RULE = KNOWLEDGE.revisit


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


# --- the interval -----------------------------------------------------------------------------


def test_nothing_in_the_usual_sets_is_ten_days(season: Path) -> None:
    """Four empty sets are virtually none: the long interval is given, and said why."""
    found = counted(season, BUGS, *[0.0] * 4).visit
    why = interval(found)
    assert (why.days, why.last_visit) == (10, SEEN)
    assert isinstance(why.found, CountedPressure)
    assert why.found.pressure == "virtually none"
    assert "virtually none: nothing was found" in first_words(found)
    assert found.due is not None
    assert found.due <= SEEN + 10 * ONE_DAY
    assert found.due == SEEN + 10 * ONE_DAY or found.pulled


def test_some_in_the_sets_is_seven_days(season: Path) -> None:
    """A fifth of the threshold is some pressure, told with number, unit and share."""
    found = counted(season, BUGS, 2, 2, 1, 2).visit
    assert found.due == SEEN + 7 * ONE_DAY
    assert first_words(found) == (
        "7 days: last visit 20 Jul, some: stink bugs 1.8 of 9 per 25 sweeps"
    )


def test_far_above_the_threshold_is_five_days(season: Path) -> None:
    """Where the sets leave no doubt nothing is projected: the short interval holds."""
    found = counted(season, BUGS, 60, 50, 70, 55, 65, 60).visit
    assert found.due == SEEN + 5 * ONE_DAY
    told = first_words(found)
    assert "stink bugs 60 of 9 per 25 sweeps, over 95% chance of being over it" in told
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


# --- what makes it sooner ---------------------------------------------------------------------


def test_a_field_below_half_has_its_seven_days(season: Path) -> None:
    """Four even sets at a third of the threshold are no reason to come sooner."""
    found = counted(season, BUGS, 3, 3, 3, 3).visit
    assert found.interval_days == 7
    assert crossings(found) == []


def test_a_field_that_will_likely_pass_within_seven_days_has_five(season: Path) -> None:
    """Ten even sets of 5 against 9 are below; growing 0.1 a day they are likely over on day 7."""
    found = counted(season, BUGS, *[5] * 10).visit
    assert interval(found).days == 7
    (crossing,) = crossings(found)
    assert (crossing.days, crossing.instead_of_days, found.interval_days) == (5, 7, 5)
    assert crossing.day == SEEN + 7 * ONE_DAY
    assert crossing.probability > float(DECISIONS.growth.crossing)
    assert re.fullmatch(
        r"5 days, not 7: stink bugs may pass the threshold of 9 per 25 sweeps by 27 Jul "
        r"\(chance \d+%; 5 in 10 sets on 20 Jul, growing 0.1 \+/- 0.05 a day\)",
        crossing_text(crossing),
    )


@pytest.mark.parametrize("likely", [(7, 7, 7, 7), (5, 6, 5, 6), (6, 2, 9, 9)])
def test_a_field_above_is_never_seen_later_than_one_that_may_become_so(
    likely: tuple[float, ...], season: Path
) -> None:
    """Three times the threshold is due after 5 days, and no density under it sooner than that.

    5 days close to a threshold: common practice, no source.
    """
    above = counted(season, BUGS, 25, 30, 27, 28).visit
    below = counted(season, BUGS, *likely).visit
    assert above.interval_days == 5
    assert below.interval_days == 5


@pytest.mark.parametrize(
    ("pest", "counts", "days"),
    [("velvetbean-caterpillar", (1, 0, 0, 0), 4), (REDBANDED, (0, 1, 0, 0), 4)],
)
def test_what_a_source_goes_back_for_is_gone_back_for(
    pest: str, counts: tuple[float, ...], days: int, season: Path
) -> None:
    """One velvetbean caterpillar or redbanded stink bug is enough: within 3 to 4 days.

    A field can be stripped in 5 to 7 days (Wilkerson and others 1986, cited); Louisiana sweeps
    twice a week for redbanded (Brown 2017).
    """
    found = counted(season, pest, *counts).visit
    assert found.interval_days == days
    (says,) = [one for one in found.reasons if isinstance(one, SourceSays)]
    assert says.back.pest.id == pest
    assert "was found, be back in 3 to 4 days" in source_says_text(says)


def test_none_found_is_nothing_to_go_back_for(season: Path) -> None:
    """Empty sets in which they were looked for are virtually none: ten days."""
    found = counted(season, REDBANDED, 0, 0, 0, 0).visit
    assert interval(found).days == 10
    assert not any(isinstance(one, SourceSays) for one in found.reasons)


def test_dry_weather_is_said_and_moves_nothing(season: Path) -> None:
    """Mites in drought are gone back to in 4 to 5 days (Ohio); no forecast knows of drought."""
    mites = LoggedSet(1, 1, "rating", (LoggedCount("twospotted-spider-mite", "", 1.0),))
    found = field(season, visit(SEEN, (mites,))).visit
    said = [one for one in found.reasons if isinstance(one, SourceSays)]
    assert [one.back.rule.when for one in said] == ["dry"]
    assert "in dry weather be back for twospotted spider mite in 4 to 5 days" in source_says_text(
        said[0]
    )
    assert found.interval_days is not None
    assert found.interval_days >= 5


def test_no_rule_of_return_from_memory_is_followed() -> None:
    """What is recalled is shown as unverified and decides nothing; so is a recalled growth."""
    kept = [rule for pest in KNOWLEDGE.pests.values() for rule in pest.returns]
    assert kept
    assert not any(rule.unverified for rule in kept)
    aphids = sets_of("soybean-aphid", (30,) * 20, size=1)
    aphids = tuple(replace(one, unit="plants") for one in aphids)
    tags: dict[Tag, bool] = {"READ": True, "MEMORY": False}
    for tag, decides in tags.items():
        growth = Quantity(value=0.3, unit="1/d", source="own", tag=tag)
        aphid = KNOWLEDGE.pests["soybean-aphid"].model_copy(update={"growth": growth})
        knowing = KNOWLEDGE.model_copy(update={"pests": {**KNOWLEDGE.pests, aphid.id: aphid}})
        found = assess(
            visit(SEEN, aphids), stage="R3", stage_seen=True, region="MN", knowledge=knowing
        )
        (one,) = densities(found, knowing)
        assert (one.rate == growth) == decides
        assert decides or one.rate == DECISIONS.growth.per_day


@pytest.mark.parametrize(
    ("percent", "stage", "pressure"),
    [(6, "V6", "virtually none"), (20, "V6", "near threshold"), (14, "V6", "some")],
)
def test_a_little_leaf_loss_in_june_is_nothing_out_of_the_ordinary(
    percent: float, stage: str, pressure: str
) -> None:
    """6 of 30 percent is; 20 of 30 is near, and the leaf loss is said to have made it so."""
    found = assess(
        visit(day(6, 15), stage=stage, defoliation_percent=percent), stage=stage, stage_seen=True,
        region="IA", knowledge=KNOWLEDGE,
    )  # fmt: skip
    told = counted_pressure(found, KNOWLEDGE)
    assert told.pressure == pressure
    assert pressure_text(told) == f"{pressure}: leaf loss {percent} of 30 percent"


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    counts=st.lists(st.integers(0, 15), min_size=1, max_size=8),
    pest=st.sampled_from([BUGS, REDBANDED, "velvetbean-caterpillar", "corn-earworm"]),
    loss=st.one_of(st.none(), st.integers(0, 60)),
)
def test_the_interval_is_of_the_rule_or_says_why_not(
    counts: list[int], pest: str, loss: int | None, season: Path
) -> None:
    """Never under three days after a visit nor over ten; 3, 5, 7 or 10, or a reason says why.

    Near threshold always names a pest or leaf loss.
    """
    entry = visit(SEEN, sets_of(pest, counts), defoliation_percent=loss)
    found = field(season, entry).visit
    days = found.interval_days
    assert days is not None
    assert int(RULE.soon_days) <= days <= int(RULE.quiet_days)
    assert found.due == SEEN + days * ONE_DAY
    why = interval(found)
    sooner = (Crossing, SourceSays, PulledForward)
    if days != why.days:
        assert any(isinstance(reason, sooner) for reason in found.reasons)
    if days not in (3, 5, 7, 10):
        assert any(isinstance(reason, SourceSays | PulledForward) for reason in found.reasons)
    if isinstance(why.found, CountedPressure) and why.found.pressure == "near threshold":
        assert why.found.cause is not None
        assert why.found.cause.near  # type: ignore[union-attr]


@pytest.mark.parametrize(("region", "told"), [(None, True), ("TN", True), ("LA", False)])
def test_a_rule_of_return_holds_in_its_own_region_alone(region: str | None, told: bool) -> None:
    """A Louisiana rule asks nobody in Tennessee to be back; one without a region asks everybody."""
    rule = {"when": "found", "days": (3, 4), "source": "own", "tag": "OWN", "region": region}
    worm = KNOWLEDGE.pests["corn-earworm"]
    worm = worm.model_copy(update={"returns": (Return.model_validate(rule),)})
    knowledge = KNOWLEDGE.model_copy(update={"pests": {**KNOWLEDGE.pests, worm.id: worm}})
    entry = visit(SEEN, sets_of("corn-earworm", (2, 1, 2, 1)))
    found = assess(entry, stage="R4", stage_seen=True, region="TN", knowledge=knowledge)
    assert bool(counted_pressure(found, knowledge).go_back) is told


def test_worms_before_their_threshold_begins_are_no_quiet_field() -> None:
    """3.75 worms at R2, against 7.5 from R3 on that comes before the next visit, are some.

    Pods from R3 on cost most: Johnson, Kentucky (johnson-ky in the pest's file).
    """
    entry = visit(day(7, 9), sets_of("corn-earworm", (4, 4, 3, 4)), stage="R2")
    asked = {"stage": "R2", "stage_seen": True, "region": "KY", "knowledge": KNOWLEDGE}
    then = counted_pressure(assess(entry, **asked, coming_stage="R3"), KNOWLEDGE)  # type: ignore[arg-type]
    assert then.pressure == "some"
    assert pressure_text(then) == "some: corn earworm 3.8 of 7.5 per 25 sweeps from R3 on"
    far = counted_pressure(assess(entry, **asked, coming_stage="R2"), KNOWLEDGE)  # type: ignore[arg-type]
    assert far.pressure != "some"
    many = visit(day(7, 9), sets_of("corn-earworm", (9, 8, 9, 8)), stage="R2")
    assert assess(many, **asked, coming_stage="R3").pressure == "near threshold"  # type: ignore[arg-type]


def test_what_may_be_over_now_goes_before_what_begins_later() -> None:
    """Few plants of 237 aphids at a threshold of 250 are near; bugs ahead of theirs come after.

    Delaware: 250 aphids a plant from R1 on, 5 stink bugs in 15 sweeps from R3 on (Owens).
    """
    aphids = tuple(
        replace(one, unit="plants")
        for one in sets_of("soybean-aphid", (240, 230, 250, 228), size=1)
    )
    bugs = sets_of(BUGS, (30,) * 4)
    asked = {"stage": "R1", "stage_seen": True, "region": "DE", "knowledge": KNOWLEDGE}
    both = assess(visit(SEEN, (*aphids, *bugs)), **asked, coming_stage="R3")  # type: ignore[arg-type]
    answers = {one.pest: one.answer for one in both.pests}
    assert answers == {"soybean-aphid": "too few", BUGS: "does not matter yet"}
    assert [one.pest for one in both.coming] == [BUGS]
    found = counted_pressure(both, KNOWLEDGE)
    names = [one.pest.id for one in found.pressing if isinstance(one, Density)]
    assert names == ["soybean-aphid", BUGS]
    assert found.cause == found.pressing[0]
    alone = assess(visit(SEEN, aphids), **asked)  # type: ignore[arg-type]
    assert alone.pressure == "near threshold"
    few = tuple(replace(one, counts=(LoggedCount("soybean-aphid", "", 1),)) for one in aphids)
    assert assess(visit(SEEN, few), **asked).pressure != "near threshold"  # type: ignore[arg-type]


def test_all_that_is_near_or_above_is_named() -> None:
    """Stink bugs at three times their threshold are called above, and leaf loss is told as well."""
    entry = visit(SEEN, sets_of(BUGS, (27, 25, 29, 27)), defoliation_percent=23)
    found = assess(entry, stage="R4", stage_seen=True, region="TN", knowledge=KNOWLEDGE)
    told = pressure_text(counted_pressure(found, KNOWLEDGE))
    assert told.startswith("above its threshold: stink bugs 27 of 9 per 25 sweeps")
    assert "leaf loss 23 of 20 percent" in told
    assert "near threshold" not in told


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
    """A visit from the third day on is the check; one before it is not, and puts it off.

    No visit comes within three days of another, a check included.
    """
    spray = treatment(SPRAYED, 12)
    early = field(season, spray, visit(day(7, 23)), as_of=day(7, 23)).visit
    made = field(season, spray, visit(day(7, 24)), as_of=day(7, 24)).visit
    assert early.not_before == early.due == day(7, 26)
    assert made.not_before is None
    assert checks(made) == []
    assert interval(made).last_visit == day(7, 24)


def test_a_treatment_without_any_visit_is_checked_too(season: Path) -> None:
    """A field that was sprayed and never walked is due for the check, not at once."""
    found = field(season, treatment(SPRAYED, 12), as_of=day(7, 21)).visit
    assert found.due is not None
    assert day(7, 24) <= found.due <= day(7, 26)


def test_the_check_goes_before_counts_of_the_day_after_a_treatment(season: Path) -> None:
    """What was counted after it is near its threshold; the last day of the check is sooner."""
    spray = treatment(SPRAYED, 12)
    after = visit(day(7, 22), sets_of(BUGS, (7, 7, 7, 7)))
    found = field(season, spray, after, as_of=day(7, 22)).visit
    assert found.due == day(7, 26)
    assert interval(found).days == 5


def test_a_sprayed_field_is_not_left_for_ten_days(season: Path) -> None:
    """Within a week of a spray a quiet field is seen again in seven days (Herbert, Virginia)."""
    spray, after = treatment(SPRAYED, 12), visit(day(7, 25), sets_of(BUGS, (0, 0, 0, 0)))
    found = field(season, spray, after, as_of=day(7, 25)).visit
    why = interval(found)
    assert (why.days, why.sprayed) == (7, spray)
    assert "no longer, after Product A on 21 Jul" in first_words(found)


def test_earworms_near_threshold_are_checked_four_to_five_days_after(season: Path) -> None:
    """Tennessee looks again 4 to 5 days after a treatment made near threshold (Brown 2023)."""
    entries = visit(SEEN, sets_of("corn-earworm", (20, 25, 18, 30))), treatment(SPRAYED, 12)
    found = field(season, *entries, as_of=day(7, 22)).visit
    (check,) = checks(found)
    assert check.days_after == (4, 5)


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
