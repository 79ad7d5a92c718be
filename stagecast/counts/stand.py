"""What a stand count says: plants an acre with their range, and whether the stand is kept.

Plants an acre at one place are those counted, over the ground they stood on::

    rows: plants x 43,560 / (row_ft x row_width_in / 12)
    hoop: plants x 43,560 / (pi / 4 x (hoop_in / 12)^2)

The places vary, so their mean ``m`` has the range ``m - t s / sqrt(n)`` to ``m + t s / sqrt(n)``:
``s`` is the standard deviation of the ``n`` places (n - 1 below it), ``t`` the quantile of
Student's distribution with ``n - 1`` degrees of freedom. One place has no range.

The answer holds two yields against each other, in percent of the best::

    as it stands = planted(planting day) x kept(plants) x gaps(share of row in gaps) / 100
    replanted    = planted(replant day)

``keep`` where the stand keeps the declared share of its yield, or where the first is not below the
second; ``look closer`` where it is close, else ``consider adding seed``. Past the last day of the
trials nothing is known of replanting but that it brings less than on that day. The cost of seed and
passes is in neither. Values, with their sources,
are in ``knowledge/stand.toml``.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from stagecast.knowledge import Knowledge
from stagecast.knowledge.stand import PlantingCurve, StandGuide, StandRules
from stagecast.season.log.entries import LoggedStand, LoggedVisit, StandPlace

StandAnswer = Literal["consider adding seed", "look closer", "keep"]

SQ_FT_PER_ACRE = 43_560.0
"""By definition."""
IN_PER_FT = 12.0
BEST = 100.0


@dataclass(frozen=True, slots=True)
class StandEstimate:
    """Plants an acre.

    Attributes
    ----------
    by_place: plants an acre at each place, in the order in which they were counted.
    low, high: range of the mean; None for one place.
    gap_share: share of the counted row in long gaps, 0 to 1; None where nobody measured.
    """

    by_place: tuple[float, ...]
    mean: float
    low: float | None
    high: float | None
    gap_share: float | None


@dataclass(frozen=True, slots=True)
class CurveAnswer:
    """The answer by one region's trials of planting days; yields in percent of the best.

    Attributes
    ----------
    planted: by the planting day alone.
    standing: by the planting day, the plants and the gaps.
    replanted: when planted on the replant day; ``late``: it is past the last day of the trials,
        whose yield stands for it, which it does not reach.
    """

    region: str
    planted: float
    standing: float
    replanted: float
    late: bool
    answer: StandAnswer


@dataclass(frozen=True, slots=True)
class StandAssessment:
    """A stand count and what it says.

    Attributes
    ----------
    kept: percent of its yield that so many plants keep, gaps reckoned in.
    thin: fewer plants than any source gives a yield for: ``kept`` is then a straight line to none.
    replant_day: the first on which it could be replanted.
    curves: of the region or the nearest; several where they are as near.
    answer: where curves differ, ``look closer``.
    answer_low, answer_high: what it were at the ends of the range; None without one.
    more_places: how many are missing to the usual number.
    guides: what the state's own guide says.
    """

    date: dt.date
    stand: LoggedStand
    estimate: StandEstimate
    kept: float
    thin: bool
    planted_on: dt.date
    replant_day: dt.date
    curves: tuple[CurveAnswer, ...]
    answer: StandAnswer
    answer_low: StandAnswer | None
    answer_high: StandAnswer | None
    more_places: int
    guides: tuple[StandGuide, ...]

    @property
    def late(self) -> bool:
        """Whether replanting comes later than the last day of all trials."""
        return all(curve.late for curve in self.curves)

    @property
    def unsure(self) -> bool:
        """Whether the ends of the range have different answers."""
        return self.answer_low != self.answer_high


def last_stand(
    visits: Iterable[LoggedVisit], *, planted: dt.date, as_of: dt.date
) -> LoggedVisit | None:
    """The last visit of a field with a stand count, of the crop planted on a day."""
    counted = [v for v in visits if v.stand is not None and planted <= v.date <= as_of]
    return max(counted, key=lambda visit: visit.date, default=None)


def assess_stand(
    visit: LoggedVisit, *, planted: dt.date, region: str, knowledge: Knowledge
) -> StandAssessment | None:
    """What the stand count of a visit says; None without one, or from before planting."""
    stand, rules = visit.stand, knowledge.stand
    if stand is None or visit.date < planted:
        return None
    found = estimate_stand(stand, interval=float(rules.counting.interval))
    replant_day = visit.date + dt.timedelta(days=int(rules.decision.lead))
    curves = nearest_curves(region, knowledge)

    def answers(plants: float) -> tuple[CurveAnswer, ...]:
        kept = kept_percent(plants, found.gap_share, row_in=stand.row_width_in, rules=rules)
        return tuple(
            curve_answer(curve, kept, planted=planted, replant_day=replant_day, rules=rules)
            for curve in curves
        )

    return StandAssessment(
        date=visit.date,
        stand=stand,
        estimate=found,
        kept=kept_percent(found.mean, found.gap_share, row_in=stand.row_width_in, rules=rules),
        thin=found.mean < rules.kept[0].plants,
        planted_on=planted,
        replant_day=replant_day,
        curves=answers(found.mean),
        answer=_together(answers(found.mean)),
        answer_low=None if found.low is None else _together(answers(found.low)),
        answer_high=None if found.high is None else _together(answers(found.high)),
        more_places=max(0, int(rules.counting.places) - len(stand.places)),
        guides=tuple(guide for guide in rules.guides if guide.region == region),
    )


def plants_per_acre(place: StandPlace, stand: LoggedStand) -> float:
    """Plants an acre at one place."""
    if stand.hoop_in is not None:
        ground_sq_ft = math.pi / 4 * (stand.hoop_in / IN_PER_FT) ** 2
    else:
        assert stand.row_ft is not None
        assert stand.row_width_in is not None
        ground_sq_ft = stand.row_ft * stand.row_width_in / IN_PER_FT
    return place.plants * SQ_FT_PER_ACRE / ground_sq_ft


def estimate_stand(stand: LoggedStand, *, interval: float) -> StandEstimate:
    """Plants an acre over all places; ``interval`` is the probability of the range."""
    by_place = tuple(plants_per_acre(place, stand) for place in stand.places)
    count = len(by_place)
    mean = math.fsum(by_place) / count
    low = high = None
    if count > 1:
        sd = math.sqrt(math.fsum((one - mean) ** 2 for one in by_place) / (count - 1))
        half = student_quantile((1 + interval) / 2, count - 1) * sd / math.sqrt(count)
        low, high = max(0.0, mean - half), mean + half
    return StandEstimate(by_place, mean, low, high, _gap_share(stand))


def _gap_share(stand: LoggedStand) -> float | None:
    """A place beside others with gaps had none, where nobody noted any."""
    gaps = [place.gap_ft for place in stand.places]
    if stand.row_ft is None or all(gap is None for gap in gaps):
        return None
    return math.fsum(gap or 0.0 for gap in gaps) / (stand.row_ft * len(gaps))


def kept_percent(
    plants: float, gap_share: float | None, *, row_in: float | None, rules: StandRules
) -> float:
    """Percent of its yield that a stand keeps; of an unknown row width the narrow rows' counts."""
    full = next(one for one in reversed(rules.full) if one.row_in <= (row_in or 0.0))
    known = [(0.0, 0.0), *((float(k.plants), k.percent) for k in rules.kept)]
    even = _on_lines(plants, [*known, (float(full.plants), BEST)])
    return even * (1 - gap_loss(rules) * (gap_share or 0.0))


def gap_loss(rules: StandRules) -> float:
    """Share of the yield lost for each share of the row in gaps."""
    gaps = rules.gaps
    even = next(one.percent for one in rules.kept if one.plants == gaps.plants)
    return (1 - gaps.percent / even) / (gaps.gap_percent / 100)


def planted_percent(curve: PlantingCurve, day: dt.date) -> float:
    """Yield in percent of the best when planted on a day; the ends hold on both sides."""
    points = [(dt.date(day.year, p.month, p.day), p.percent) for p in curve.points]
    return _on_lines(day.toordinal(), [(float(on.toordinal()), value) for on, value in points])


def _on_lines(x: float, points: Sequence[tuple[float, float]]) -> float:
    """The value at ``x`` on straight lines between points, and of the end beyond one."""
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return points[-1][1]


def curve_answer(
    curve: PlantingCurve,
    kept: float,
    *,
    planted: dt.date,
    replant_day: dt.date,
    rules: StandRules,
) -> CurveAnswer:
    """The answer for a stand that keeps ``kept`` percent, by one region's trials.

    A stand that keeps the declared share is kept whatever the day. Past the last day of the trials
    the yield of replanting is below that of their last day: a stand below it is looked at closer,
    and seed is never advised.
    """
    last = curve.points[-1]
    late = replant_day > dt.date(replant_day.year, last.month, last.day)
    by_day, replanted = planted_percent(curve, planted), planted_percent(curve, replant_day)
    standing = by_day * kept / BEST
    answer: StandAnswer = "consider adding seed"
    if kept >= float(rules.decision.keep) or standing >= replanted:
        answer = "keep"
    elif late or replanted - standing <= float(rules.decision.close):
        answer = "look closer"
    return CurveAnswer(curve.region, by_day, standing, replanted, late, answer)


def nearest_curves(region: str, knowledge: Knowledge) -> tuple[PlantingCurve, ...]:
    """Curves of the region, else of the one with the fewest borders between; all that are as near.

    Every curve where no border leads to any of them.
    """
    steps = _borders_from(region, knowledge)
    curves = knowledge.stand.planted
    nearest = min((steps[c.region] for c in curves if c.region in steps), default=None)
    return tuple(c for c in curves if nearest is None or steps.get(c.region) == nearest)


def _borders_from(region: str, knowledge: Knowledge) -> dict[str, int]:
    steps, reached = {region: 0}, [region]
    for one in reached:
        for other in knowledge.neighbors.get(one, ()):
            if other not in steps:
                steps[other] = steps[one] + 1
                reached.append(other)
    return steps


def _together(curves: Sequence[CurveAnswer]) -> StandAnswer:
    answers = {one.answer for one in curves}
    return answers.pop() if len(answers) == 1 else "look closer"


def student_quantile(probability: float, freedom: int) -> float:
    """Quantile of Student's t with whole degrees of freedom; ``probability`` from 0.5 to below 1.

    Found by halving on the distribution's finite series (Abramowitz and Stegun 1964, 26.7.3 and
    26.7.4).
    """
    low, high = 0.0, 1.0
    while _student_share(high, freedom) < 2 * probability - 1:
        low, high = high, 2 * high
    for _ in range(80):
        middle = (low + high) / 2
        if _student_share(middle, freedom) < 2 * probability - 1:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _student_share(t: float, freedom: int) -> float:
    """Probability of a value between -t and t."""
    angle = math.atan(t / math.sqrt(freedom))
    cosine = math.cos(angle)
    odd = freedom % 2
    term, total = (cosine if odd else 1.0), 0.0
    for i in range(1 + odd, freedom, 2):
        total += term
        term *= cosine**2 * i / (i + 1)
    if odd:
        return 2 / math.pi * (angle + math.sin(angle) * total)
    return math.sin(angle) * total
