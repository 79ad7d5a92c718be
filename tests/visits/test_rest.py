"""How long a field may go without a look: the rest until R1, and the longest gap."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_builder import log_of, sets_of, visit
from season_builder import ONE_DAY, FieldLine, VisitLine, build_season, day

from stagecast.knowledge import load
from stagecast.season.settings.work import VisitsSettings
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.interval import Interval, LongestGap
from stagecast.visits.look_for import is_open
from stagecast.visits.rest import longest_unseen, may_rest
from stagecast.visits.revisit import NextVisit, next_visit
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.words.visits import reason_text

RULE = load().revisit
AS_OF = day(6, 17)
"""Between the seedling weeks and R1 of the field below."""


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> FieldDay:
    """A late group, so that there are weeks between the seedlings and bloom."""
    line = FieldLine("F1", day(5, 1), "late V")
    folder = build_season(tmp_path_factory.mktemp("rest"), fields=[line])
    return SeasonDay.open(folder, as_of=AS_OF).field("F1")


def decide(
    plan: FieldDay,
    last: dt.date,
    pressure: Pressure = "some",
    *,
    days: int | None = None,
    **more: int,
) -> NextVisit:
    """The next visit, with no window but those of the crop that are critical."""
    crop = [w for w in plan.windows if w.pest is None and w.critical]
    return next_visit(
        plan.forecast,
        crop,
        Visit("F1", last, pressure, 2),
        as_of=max(last, AS_OF),
        region="TN",
        knowledge=load(),
        asked=VisitsSettings(between_days=days, **more),
    )


def quiet_weeks(plan: FieldDay) -> tuple[dt.date, dt.date]:
    """The first day after V3 and the seedling window, and R1."""
    (seedling,) = [w for w in plan.windows if w.window == "seedling"]
    flowers, v4 = (plan.forecast.stages[stage].p50 for stage in ("R1", "V4"))
    assert seedling.closes.p50 is not None
    assert flowers is not None
    assert v4 is not None
    return max(seedling.closes.p50 + ONE_DAY, v4), flowers


@given(back=st.integers(-20, 30), days=st.sampled_from([None, 5, 7, 10, 12, 14]))
def test_a_field_rests_between_the_seedling_weeks_and_r1_alone(
    plan: FieldDay, back: int, days: int | None
) -> None:
    """Seen in the quiet weeks it is due after the days that the user chose, 10 by default.

    It is never later than R1 or five days, whichever is later. Seen before or after them the
    interval is the usual seven. A note says that the rest is one's own choice.
    """
    first, flowers = quiet_weeks(plan)
    last = first + back * ONE_DAY
    found = decide(plan, last, days=days)
    (why,) = [one for one in found.reasons if isinstance(one, Interval)]
    assert why.rests == (first <= last < flowers)
    assert why.days == ((days or 10) if why.rests else 7)
    assert found.due is not None
    if why.rests:
        longest = last + why.days * ONE_DAY
        assert found.due == min(longest, max(flowers, last + 5 * ONE_DAY))
    told = reason_text(why, load().decisions.treated)
    assert ("your own choice, extension texts say weekly" in told) == why.rests


@pytest.mark.parametrize(("pressure", "days"), [("near threshold", 5), ("virtually none", 14)])
def test_a_field_near_a_threshold_does_not_rest(
    plan: FieldDay, pressure: Pressure, days: int
) -> None:
    """Near a threshold the next visit comes after five days; a quiet field rests like any."""
    first, _ = quiet_weeks(plan)
    (why,) = [r for r in decide(plan, first, pressure, days=14).reasons if isinstance(r, Interval)]
    assert (why.days, why.rests) == (days, days == 14)


def test_no_rest_where_gall_midges_are_about(plan: FieldDay) -> None:
    """In the states that the summary names, and in a field where maggots were found, none is had.

    Source: the summary behind `sgm-summary`: flights in Nebraska and Minnesota, eggs from V2 on.
    """
    first, _ = quiet_weeks(plan)
    nothing, rule = log_of(), RULE.no_rest
    midge = log_of(visit(first, sets_of("soybean-gall-midge", (0, 2, 0, 0))))
    none = log_of(visit(first, sets_of("soybean-gall-midge", (0, 0, 0, 0))))
    assert may_rest(first, plan.forecast, plan.windows, nothing, rule)
    assert may_rest(first, plan.forecast, plan.windows, none, rule)
    assert not may_rest(first, plan.forecast, plan.windows, midge, rule)
    for state, rests in (("NE", False), ("MN", False), ("TN", True)):
        there = replace(plan.forecast, field=replace(plan.forecast.field, region=state))
        assert may_rest(first, there, plan.windows, nothing, rule) == rests


def test_no_rest_up_to_v3(plan: FieldDay) -> None:
    """Slugs and cutworms are looked for to V3, also where three weeks from VE are over before it.

    Common practice, no source.
    """
    seedling = [w for w in plan.windows if w.window == "seedling"]
    others = [w for w in plan.windows if w not in seedling]
    v4 = plan.forecast.stages["V4"].p50
    assert v4 is not None
    rests = [
        may_rest(v4 + days * ONE_DAY, plan.forecast, others, log_of(), RULE.no_rest)
        for days in (-1, 0)
    ]
    assert rests == [False, True]


@given(
    since=st.integers(0, 90), critical=st.integers(3, 60), other=st.integers(3, 60),
    own=st.none() | st.integers(3, 60),
)  # fmt: skip
def test_the_longest_gap_is_the_fields_own_else_that_of_the_time(
    plan: FieldDay, since: int, critical: int, other: int, own: int | None
) -> None:
    """No day past the critical gap has a critical window of the crop open before the limit."""
    seen = day(5, 10) + since * ONE_DAY
    field = replace(plan.forecast.field, longest_gap_days=own)
    asked = VisitsSettings(longest_gap_critical_days=critical, longest_gap_days=other)
    limit = longest_unseen(seen, field, plan.windows, asked, RULE)
    if own is not None:
        assert limit == seen + own * ONE_DAY
        return
    crop = [w for w in plan.windows if w.pest is None and w.critical]
    late = [seen + n * ONE_DAY for n in range(critical, (limit - seen).days)]
    assert not any(is_open(w, on) for on in late for w in crop)
    assert limit <= seen + other * ONE_DAY
    if limit < seen + other * ONE_DAY:
        assert any(is_open(w, limit) for w in crop)
        assert limit >= seen + critical * ONE_DAY


def test_no_visit_is_due_after_the_longest_gap(plan: FieldDay) -> None:
    """A gap shorter than the interval makes the visit sooner, and the reason tells the days."""
    first, _ = quiet_weeks(plan)
    found = decide(plan, first, days=14, longest_gap_days=6)
    assert (found.due, found.limit, found.interval_days) == (first + 6 * ONE_DAY,) * 2 + (6,)
    (gap,) = [one for one in found.reasons if isinstance(one, LongestGap)]
    assert reason_text(gap, load().decisions.treated) == "6 days, not 14: no longer without a look"


def test_the_column_of_a_field_stands_in_place_of_the_season(tmp_path: Path) -> None:
    """Of two fields alike, the one with a gap of six days in fields.csv is due after six."""
    lines = [FieldLine("F1"), FieldLine("F2", latitude=36.01)]
    seen = [VisitLine(line.field_id, day(6, 29), "some") for line in lines]
    folder = build_season(tmp_path, fields=lines, visits=seen)
    rows = (folder / "fields.csv").read_text(encoding="utf-8").splitlines()
    rows = [row + end for row, end in zip(rows, (",longest_gap_days", ",6", ","), strict=True)]
    (folder / "fields.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    season = SeasonDay.open(folder, as_of=day(7, 1))
    assert [one.visit.due for one in season.fields] == [day(7, 5), day(7, 6)]
    assert season.field("F1").visit.limit == day(7, 5)
