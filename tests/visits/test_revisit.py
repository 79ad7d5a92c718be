"""When a field is next due: the trade's interval, pulled forward by what opens."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from season_builder import (
    ONE_DAY,
    FieldLine,
    Sinusoidal,
    StationFile,
    VisitLine,
    build_season,
    day,
)

from stagecast.forecast.ranges import EventTimes
from stagecast.knowledge import load
from stagecast.pests.windows import Declared, ScoutingWindow, Timing
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.interval import Interval
from stagecast.visits.look_for import AlsoPossible, CropSign, PestSign, Soon
from stagecast.visits.revisit import (
    FirstVisit,
    InsectsOver,
    NextVisit,
    NotEmerged,
    PulledForward,
    Ripe,
    RipeBefore,
    SeasonOver,
    SeenBeforeEmergence,
    next_visit,
)
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.words.visits import reason_texts

KNOWLEDGE = load()
RULE = KNOWLEDGE.revisit
PLANNED = int(RULE.planned_pests)
DAYS: dict[Pressure, int] = {"near threshold": 5, "some": 7, "virtually none": 10}
AS_OFS = tuple(day(4, 25) + 9 * i * ONE_DAY for i in range(18))


class Plans(dict[dt.date, tuple[FieldDay, ...]]):
    """The plans of a season on several days; a failing test need not print all their members."""

    def __repr__(self) -> str:
        """Say only how many days there are."""
        return f"<plans of {len(self)} days>"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Plans:
    """Four fields without visits, looked at from late April to late September."""
    fields = [
        FieldLine(f"F{i}", planted, group, latitude=36.0 + i / 100)
        for i, (planted, group) in enumerate(
            [(day(4, 14), "3.4"), (day(5, 4), "4.7"), (day(5, 25), "late V"), (day(6, 20), "IV")]
        )
    ]
    station = StationFile(weather=Sinusoidal())
    folder = build_season(tmp_path_factory.mktemp("revisit"), fields=fields, stations=(station,))
    days = ((a, SeasonDay.open(folder, as_of=a).fields) for a in AS_OFS)
    return Plans(days)


def decide(
    plan: FieldDay,
    as_of: dt.date,
    visit: Visit | None,
    windows: tuple[ScoutingWindow, ...] | None = None,
) -> NextVisit:
    """The decision for a field with another last visit, or with other windows."""
    chosen = plan.windows if windows is None else windows
    return next_visit(plan.forecast, chosen, visit, as_of=as_of, region="TN", knowledge=KNOWLEDGE)


def pulls(visit: NextVisit) -> list[PulledForward]:
    """The windows that pulled a visit forward."""
    return [reason for reason in visit.reasons if isinstance(reason, PulledForward)]


def emerged(plan: FieldDay) -> bool:
    """Whether the field is between VE and R7, when the rule applies."""
    return plan.forecast.stage_now not in ("not planted", "planted", "R7", "R8")


def in_bloom(season: Plans) -> tuple[dt.date, FieldDay]:
    """A field between R3 and R5, and the day."""
    return next(
        (as_of, plan)
        for as_of, plans in season.items()
        for plan in plans
        if plan.forecast.stage_now in ("R3", "R4")
    )


def opening(
    plan: FieldDay, opens: dt.date, *, critical: bool = True, timing: Timing = "crop"
) -> ScoutingWindow:
    """A hand-made window that is open for twenty days from a day on."""
    times = np.full(3, plan.forecast.span.index(opens) + 0.5)
    span, weights = plan.forecast.span, np.full(3, 1 / 3)
    ends = (EventTimes.of(one, span, weights) for one in (times, times + 20.0))
    return ScoutingWindow(
        plan.forecast.field.field_id, "made", "Made by hand", "made", None, *ends,
        why=Declared(""), look_for=("this",),
        sample="sweep-net", critical=critical, rank=0, timing=timing,
    )  # fmt: skip


# --- the interval ----------------------------------------------------------------------------


def test_the_rule_of_the_trade_is_the_one_in_force() -> None:
    """Seven days, five near threshold, ten when quiet (common practice, no source)."""
    found = (RULE.near_threshold_days, RULE.base_days, RULE.quiet_days)
    assert tuple(map(int, found)) == tuple(DAYS.values())


@pytest.mark.parametrize(("pressure", "days"), DAYS.items())
def test_the_interval_follows_the_pressure(pressure: Pressure, days: int, season: Plans) -> None:
    """With no window ahead the next visit is due that many days after the last."""
    as_of, plan = in_bloom(season)
    last = as_of - 2 * ONE_DAY
    visit = decide(plan, as_of, Visit("F0", last, pressure, 2), windows=())
    assert (visit.last_visit, visit.interval_days) == (last, days)
    assert visit.due == last + days * ONE_DAY
    assert not visit.pulled


def test_a_visit_that_noted_only_a_stage_keeps_the_usual_interval(season: Plans) -> None:
    """Where the pressure is blank nothing is known of it: seven days, and the reason says so."""
    as_of, plan = in_bloom(season)
    visit = decide(plan, as_of, Visit("F0", as_of, None, 2, stage="R3"), windows=())
    assert (visit.last_visit, visit.interval_days) == (as_of, DAYS["some"])
    assert visit.reasons[0] == Interval(DAYS["some"], as_of, None)


@pytest.mark.parametrize(
    ("opens_after", "due_after"), [(1, 5), (4, 5), (5, 5), (6, 6), (9, 9), (10, 10), (14, 10)]
)
def test_a_window_pulls_a_quiet_field_forward_but_not_below_five_days(
    opens_after: int, due_after: int, season: Plans
) -> None:
    """The visit falls on the middle opening day where that is sooner, five days at the least."""
    as_of, plan = in_bloom(season)
    window = opening(plan, as_of + opens_after * ONE_DAY)
    last = Visit("F0", as_of, "virtually none", 2)
    visit = decide(plan, as_of, last, windows=(window,))
    assert visit.due == as_of + due_after * ONE_DAY
    assert visit.interval_days == due_after
    assert visit.pulled == (due_after < DAYS["virtually none"])
    if visit.pulled:
        assert [r.window.window for r in pulls(visit)] == ["made"]


@pytest.mark.parametrize("timing", get_args(Timing))
def test_only_what_the_crop_or_heat_times_pulls_a_visit_forward(
    timing: Timing, season: Plans
) -> None:
    """Host stages and a calendar say a pest could come; crop, heat and catches that it does."""
    as_of, plan = in_bloom(season)
    window = opening(plan, as_of + 6 * ONE_DAY, timing=timing)
    visit = decide(plan, as_of, Visit("F0", as_of, "virtually none", 2), windows=(window,))
    days = 6 if timing in ("crop", "heat", "catch") else 10
    assert visit.due == as_of + days * ONE_DAY
    assert [pull.window.window for pull in pulls(visit)] == ["made"] * (days == 6)


@pytest.mark.parametrize(("opens_after", "told"), [(3, True), (5, False), (6, False)])
def test_a_pull_that_the_shortest_interval_holds_back_says_so(
    opens_after: int, told: bool, season: Plans
) -> None:
    """A window that opens before five days are over is named with that limit."""
    as_of, plan = in_bloom(season)
    window = opening(plan, as_of + opens_after * ONE_DAY)
    visit = decide(plan, as_of, Visit("F0", as_of, "virtually none", 2), windows=(window,))
    assert visit.pulled
    assert [r.not_below_days for r in pulls(visit)] == [5 if told else None]


def test_a_field_near_threshold_is_never_pulled(season: Plans) -> None:
    """Five days is the shortest interval there is."""
    as_of, plan = in_bloom(season)
    window = opening(plan, as_of + 2 * ONE_DAY)
    visit = decide(plan, as_of, Visit("F0", as_of, "near threshold", 2), windows=(window,))
    assert (visit.interval_days, visit.pulled) == (5, False)


def test_a_window_that_a_visit_saw_open_does_not_pull(season: Plans) -> None:
    """What was open on the day of the last visit is not news."""
    as_of, plan = in_bloom(season)
    window = opening(plan, as_of - 3 * ONE_DAY)
    visit = decide(plan, as_of, Visit("F0", as_of, "virtually none", 2), windows=(window,))
    assert (visit.interval_days, visit.pulled) == (10, False)


@given(
    as_of=st.sampled_from(AS_OFS),
    field=st.integers(0, 3),
    since=st.integers(0, 45),
    pressure=st.sampled_from(list(DAYS)),
)
def test_interval_and_due_date_agree(
    season: Plans, as_of: dt.date, field: int, since: int, pressure: Pressure
) -> None:
    """Whatever the season, the visit and the pressure: due - last = interval, 5 to 10 days.

    The season is Tennessee's, which stops 7 to 10 days after R6 (University of Tennessee, 2017).
    """
    plan = season[as_of][field]
    last = as_of - since * ONE_DAY
    visit = decide(plan, as_of, Visit("F0", last, pressure, 2))
    assert visit.last_visit == last
    assert visit.reasons
    if visit.interval_days is not None:
        assert visit.due is not None
        assert (visit.due - last).days == visit.interval_days
        rests = any(isinstance(why, Interval) and why.rests for why in visit.reasons)
        usual = int(KNOWLEDGE.revisit.between_days) if rests else DAYS[pressure]
        assert 5 <= visit.interval_days <= usual
        assert visit.interval_days == usual or len(visit.reasons) > 1, "sooner for a reason"
    ve, r7 = (plan.forecast.stages[stage].p50 for stage in ("VE", "R7"))
    stop = plan.forecast.late.p50
    if visit.due is not None:
        assert ve is not None
        assert visit.due >= ve
        assert stop is None or max(visit.due, as_of) < stop
    elif emerged(plan):
        assert stop is not None
        assert r7 is not None
        assert max(last + DAYS[pressure] * ONE_DAY, as_of) >= stop
        assert isinstance(visit.reasons[-1], RipeBefore | InsectsOver)


# --- before emergence and at the end ---------------------------------------------------------


def test_no_visit_before_emergence(season: Plans) -> None:
    """A field that is not up is due once it likely stands at VC, without an interval.

    That is after the middle day of VE, on which half of the plants may be below ground. A look at
    bare ground on the days before puts it off: no visit comes within three days of another.
    """
    found = put_off = 0
    for as_of, plans in season.items():
        for plan in plans:
            if plan.forecast.stage_now in ("not planted", "planted"):
                stages = plan.forecast.stages
                ve, vc = stages["VE"].p50, stages["VC"].p50
                assert ve is not None
                assert vc is not None
                assert vc > ve > as_of
                for last in (None, Visit("F0", as_of, "near threshold", 2)):
                    visit = decide(plan, as_of, last)
                    due = vc if last is None else max(vc, as_of + 3 * ONE_DAY)
                    assert (visit.due, visit.interval_days) == (due, None)
                    assert isinstance(visit.reasons[0], NotEmerged)
                    assert visit.reasons[0].first_look == vc
                    found += 1
                soon = vc - ONE_DAY
                assert decide(plan, as_of, Visit("F0", soon, "some", 2)).due == vc + 2 * ONE_DAY
                put_off += 1
    assert found >= 8
    assert put_off >= 4


def test_no_visit_after_r7(season: Plans) -> None:
    """From R7 on nothing is due, visited or not, and the reason names the stage."""
    found = 0
    for as_of, plans in season.items():
        for plan in plans:
            if plan.forecast.stage_now in ("R7", "R8"):
                for last in (None, Visit("F0", as_of - 9 * ONE_DAY, "near threshold", 2)):
                    visit = decide(plan, as_of, last)
                    assert (visit.due, visit.interval_days) == (None, None)
                    assert visit.look_for == ()
                    (ripe,) = visit.reasons
                    assert isinstance(ripe, Ripe)
                    assert ripe.stage == plan.forecast.stage_now
                    found += 1
    assert found >= 8


def test_a_visit_long_before_emergence_does_not_start_the_clock(season: Plans) -> None:
    """A look at bare ground leaves the next visit to when the plants likely stand at VC."""
    as_of, plan = next(
        (as_of, plan)
        for as_of, plans in season.items()
        for plan in plans
        if plan.forecast.stage_now in ("VE", "VC", "V1")
    )
    ve, vc = (plan.forecast.stages[stage].p50 for stage in ("VE", "VC"))
    assert ve is not None
    assert vc is not None
    visit = decide(plan, as_of, Visit("F0", ve - 20 * ONE_DAY, "some", 2))
    assert (visit.due, visit.interval_days, visit.pulled) == (vc, None, False)
    assert visit.reasons[0] == SeenBeforeEmergence(ve - 20 * ONE_DAY, ve, vc)
    late = decide(plan, as_of, Visit("F0", ve - ONE_DAY, "some", 2))
    assert late.due is not None
    assert late.due >= vc


# --- never visited ---------------------------------------------------------------------------


def test_a_field_never_visited_is_due_from_vc_on_and_grows_overdue(season: Plans) -> None:
    """Due on the day by which VC is likelier than not; it waits for no window to open.

    From the day on which it is due, that day stands: its weather is known. So the field is longer
    overdue by one each day, and comes before fields that were looked at since.
    """
    stood: dict[str, dt.date] = {}
    for as_of, plans in season.items():
        for plan in filter(emerged, plans):
            visit, forecast = plan.visit, plan.forecast
            if visit.due is None:
                assert forecast.stages["R7"].p50 is not None
                continue
            assert (visit.last_visit, visit.interval_days) == (None, None)
            by_then = forecast.probabilities(visit.due)
            before = forecast.probabilities(visit.due - ONE_DAY)
            early = ("planted", "not planted", "VE")
            assert sum(by_then[stage] for stage in early) <= 0.5 + 1e-9
            assert sum(before[stage] for stage in early) > 0.5 - 1e-9
            assert visit.reasons[0] == FirstVisit(visit.due)
            if visit.due <= as_of:
                assert stood.setdefault(plan.field_id, visit.due) == visit.due
    assert len(stood) == 4


@given(as_of=st.sampled_from(AS_OFS[6:12]), field=st.integers(0, 3), since=st.integers(10, 40))
def test_a_field_never_visited_comes_before_one_seen_since(
    season: Plans, as_of: dt.date, field: int, since: int
) -> None:
    """Of two fields alike the one that nobody looked at is due no later than any interval asks."""
    plan = season[as_of][field]
    never, seen = (
        decide(plan, as_of, None),
        decide(plan, as_of, Visit("F0", as_of - since * ONE_DAY, "some", 2)),
    )
    if never.due is not None and seen.due is not None:
        assert never.due <= seen.due


# --- words -----------------------------------------------------------------------------------


def test_reasons_are_words_and_numbers(season: Plans) -> None:
    """Every decision is explained by a sentence that carries a number or a date."""
    for as_of, plans in season.items():
        for plan in plans:
            for last in (None, Visit("F0", as_of - 4 * ONE_DAY, "virtually none", 2)):
                visit = decide(plan, as_of, last)
                text = " ".join(reason_texts(visit, KNOWLEDGE.decisions.treated))
                assert re.search(r"[a-z]{4}", text)
                assert re.search(r"\d", text)


def test_what_to_look_for_is_ordered_by_the_rank_of_pests(season: Plans) -> None:
    """The most pressing pests come first, then what the crop itself shows; each thing once.

    Pests beyond those planned for are named in one last line.
    """
    checked = 0
    for as_of, plans in season.items():
        for plan in filter(emerged, plans):
            look_for = plan.visit.look_for
            if plan.visit.due is None:
                assert look_for == ()
                continue
            assert len(set(look_for)) == len(look_for)
            day_due = max(plan.visit.due or as_of, as_of)
            open_then = [w for w in plan.windows if w.state(day_due, entering_days=0) == "open"]
            placed = [(rank, w) for w in open_then if w.pest and (rank := w.rank_on(day_due))]
            placed.sort(key=lambda p: (p[1].timing == "heat unknown", p[0], not p[1].known))
            by_need = [w for _, w in placed]
            pests = list(dict.fromkeys(w.pest for w in by_need if w.pest is not None))
            planned, others = pests[:PLANNED], pests[PLANNED:]
            first = {w.pest: w for w in reversed(by_need)}
            expected = [(pest, item) for pest in planned for item in first[pest].look_for]
            signs = [one for one in look_for if isinstance(one, PestSign)]
            assert list(look_for[: len(signs)]) == signs
            assert [(one.pest.id, one.text) for one in signs] == expected
            own = [CropSign(item) for w in open_then if w.pest is None for item in w.look_for]
            assert [one for one in look_for if isinstance(one, CropSign)] == own
            named = [one for one in look_for if isinstance(one, AlsoPossible)]
            assert [pest.id for one in named for pest in one.pests] == others
            coming = [w.pest for w in plan.windows
                      if w.pest is not None and w.pest not in pests and w.known
                      and w.opens.p50 is not None and w.rank_on(w.opens.p50)
                      and day_due < w.opens.p50 <= day_due + 7 * ONE_DAY]  # fmt: skip
            soon = [one for one in look_for if isinstance(one, Soon)]
            assert set(coming) <= {pest.id for one in soon for pest, _ in one.pests}
            checked += len(planned) > 1
    assert checked > 3


def test_an_overdue_field_says_what_is_open_today(season: Plans) -> None:
    """A field last seen as seedlings is not told in August to look for cut seedlings."""
    as_of, plan = in_bloom(season)
    ve = plan.forecast.stages["VE"].p50
    assert ve is not None
    visit = decide(plan, as_of, Visit("F0", ve, "some", 2))
    assert visit.due is not None
    assert visit.due < as_of
    today = decide(plan, as_of, Visit("F0", as_of - 7 * ONE_DAY, "some", 2))
    assert today.due == as_of or today.pulled
    assert visit.look_for == today.look_for
    assert visit.sample == today.sample != ""


def test_visits_after_the_day_asked_for_are_ignored(tmp_path: Path) -> None:
    """As of a day, visits.csv counts up to that day and no further."""
    known = (VisitLine("F1", day(6, 20), "some"), VisitLine("F1", day(6, 12), "near threshold"))
    later = (VisitLine("F1", day(7, 2), "near threshold"),)
    now, after = day(7, 1), day(7, 2)

    def visit(name: str, visits: tuple[VisitLine, ...], as_of: dt.date) -> NextVisit:
        folder = build_season(tmp_path / name, visits=visits)
        return SeasonDay.open(folder, as_of=as_of).fields[0].visit

    with_later = visit("a", known + later, now)
    assert with_later == visit("b", known, now)
    assert with_later.last_visit == day(6, 20)
    assert visit("c", known + later, after).last_visit == after


def test_no_first_visit_is_due_after_r7(season: Plans) -> None:
    """A field that was never visited gets no visit that would fall on or after R7."""
    for as_of, plans in season.items():
        for plan in plans:
            due = decide(plan, as_of, None).due
            ripe = plan.forecast.stages["R7"].p50
            assert due is None or ripe is None or due < ripe


def test_no_visit_is_due_once_the_season_is_over(tmp_path: Path) -> None:
    """A field that never ripened is not scheduled in winter, and the reason says why."""
    fields = (FieldLine(planting_date=day(9, 1), maturity_group="7.9"),)
    folder = build_season(tmp_path, fields=fields, stations=(StationFile(weather=Sinusoidal()),))
    winter = day(12, 15)
    (plan,) = SeasonDay.open(folder, as_of=winter).fields
    assert plan.forecast.stages["R7"].p50 is None
    assert plan.visit.due is None
    assert plan.visit.reasons == (SeasonOver(plan.forecast.span.last_day),)
