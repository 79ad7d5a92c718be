"""What a field loses by waiting: dollars on each day on which it is not walked.

The formula, for a field of ``A`` acres that bears ``Y`` bu/ac, at a price of ``p`` $/bu, on a day::

    cost(day) = A p (Y / Y0) x { sum over pests of P(day) S(day) L / D  +  U(day) }  +  stand(day)
    P(day)    = 1 - (1 - Q(day)) (1 - C(day))
    C(day)    = 1 - exp(-a n(day))
    U(day)    = (1 - exp(-u n(day))) S(day) L / D, over the critical windows of the crop
    stand(day) = A p (Y / Y0) x W(day) x q x r

L / D
    Yield that a pest at its threshold takes a day: ``at_threshold`` bu/ac over ``feeding_days``.
    By definition a pest at its economic injury level takes what the treatment costs,
    ``cost = price x loss x density`` (Pedigo, Hutchins and Higley 1986).
Y / Y0
    Share of the ``reference_yield``; loss is taken to go with yield. A pure number.
S(day)
    Expected yield response, 0 to 1: over the field's possible seasons, the mean of the response
    at the stage of that day where the pest's window is open then; 0 before VE and from R7 on. Pests
    that take leaf have a curve of their own.
Q(day)
    Probability, by the last look alone, that the pest is at its threshold: the chance of a
    crossing (:func:`~stagecast.counts.projection.crossing_share`) of the density that was
    counted or noted, held from ``growth.furthest`` days on.
C(day)
    Probability that it came since: ``a`` a day, by its rank, on ``n`` open days without a look
    among the last ``most_days``. A pest that only host stages allow has a share of ``a``, and so
    has every pest outside the regions where pests come at the full rates.
W(day), q, r
    Share of possible seasons in which the seedling window is open; the chance that the stand is
    poor and nobody knows, less once somebody walked the field after emergence or counted the
    stand; and ``replant_loss``, bu/ac for each day by which replanting is late.

Values stand in ``knowledge/waiting.toml``, each with its source or as judgement.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import CropEvent
from stagecast.knowledge.quantities import Quantity
from stagecast.pests.windows import SEEDLING, ScoutingWindow
from stagecast.phenology.soybean import STAGES
from stagecast.season.settings.workday import Money
from stagecast.visits.season_day import FieldDay
from stagecast.week.looks import FieldLooks, Seen, field_looks

FloatArray = NDArray[np.float64]


NOON = 0.5
ROUNDING = 1e-9
RIPE = ("R7", "R8")
UNTIMED = ("host stages", "heat unknown")
LATER = 3
"""A rank that stands for all later ones."""


@dataclass(frozen=True, slots=True)
class Came:
    """How something may have come since the last look.

    At ``rate`` a day times ``part``, the share that its region and the timing of its window leave,
    on so many expected open days without a look.
    """

    rate: Quantity
    part: float
    days: float
    looked: dt.date | None


@dataclass(frozen=True, slots=True)
class PestRisk:
    """What a pest's part of the cost rests on, on a day.

    ``seen`` is what the last look found, where it still counts; ``treated`` the day and product of
    a treatment after which nobody looked; ``by_look`` the probability of being at the threshold by
    the last look alone; ``response`` the expected yield response, 0 to 1. The dates of its window
    may be ``unverified``.
    """

    pest: str
    day: dt.date
    seen: tuple[Seen, ...]
    treated: tuple[dt.date, str] | None
    came: Came
    by_look: float
    response: float
    unverified: bool


@dataclass(frozen=True, slots=True)
class OtherRisk:
    """Anything else that may come while a critical window of the crop is open."""

    came: Came
    response: float


@dataclass(frozen=True, slots=True)
class StandRisk:
    """A look at the stand that is missed; the seedling window is open in a share of seasons."""

    share: float
    chance: float
    seen_on: dt.date | None


@dataclass(frozen=True, slots=True)
class WaitingTerm:
    """One part of what a field loses by waiting one day.

    ``dollars`` are the expected loss of the whole field on that day; ``chance`` is that of a loss
    (the pest at its threshold, the stand poor); ``per_acre`` dollars an acre and day where there
    is one.
    """

    risk: PestRisk | OtherRisk | StandRisk
    dollars: float
    chance: float
    per_acre: float

    @property
    def pest(self) -> str | None:
        """Id, for a pest's term."""
        return self.risk.pest if isinstance(self.risk, PestRisk) else None


@dataclass(frozen=True, slots=True)
class WaitingCost:
    """What a field loses by waiting.

    ``by_day`` are the dollars lost on ``first_day``, the first of the route, and on each one
    after it for as long as a field left out waits; ``terms`` are those of the first day that
    costs something, the largest first.
    """

    field_id: str
    first_day: dt.date
    by_day: tuple[float, ...]
    terms: tuple[WaitingTerm, ...]

    def until(self, day: dt.date) -> float:
        """Dollars lost when the field is walked on a day: those of all days before it."""
        return sum(self.by_day[: max(0, (day - self.first_day).days)])

    @property
    def left_out(self) -> float:
        """Dollars lost when it is left out."""
        return sum(self.by_day)


def waiting_cost(
    plan: FieldDay, loaded: LoadedSeason, *, first_day: dt.date, days: int, money: Money
) -> WaitingCost:
    """Work out what a field loses on a day and each one after it while nobody walks it.

    Visits and treatments are known up to ``loaded.as_of``, which is not after ``first_day``.
    The cost is never negative, and 0 before emergence and after R7. A field that may not be
    entered waits like any other.

    Notes
    -----
    The module states the formula. Everything is taken at noon. Where a window is timed by heat,
    its openness rests on the degree-days ahead, member by member of the past seasons that stand
    for the days not yet known. Rates of arrival, responses and what a word stands for are
    judgement; so is adding up pests as if each took its loss alone, which is near enough while
    the chances are small.

    References
    ----------
    Pedigo LP, Hutchins SH, Higley LG (1986). Economic injury levels in theory and practice.
    Annual Review of Entomology 31:341-368 (bibliography MEMORY).
    """
    field = plan.forecast.field
    if plan.forecast.stage_now in RIPE:
        return WaitingCost(field.field_id, first_day, (0.0,) * days, ())
    table = _DayTable(plan.forecast, first_day, days, loaded.knowledge)
    looks = field_looks(plan, loaded)
    unit = money.price * money.crop_yield / float(loaded.knowledge.waiting.loss.reference_yield)
    parts = [
        *_pests(plan, looks, table, loaded.knowledge),
        _other(plan, looks, table, loaded.knowledge),
        _stand(plan, looks, table, loaded.knowledge),
    ]
    by_day = sum((field.area_acres * unit * part.loss for part in parts), np.zeros(days))
    costs = np.flatnonzero(by_day > 0)
    shown = int(costs[0]) if costs.size else 0
    terms = [
        part.term(shown, area_acres=field.area_acres, unit=unit)
        for part in parts
        if part.loss[shown] > 0
    ]
    names = {pest.id: pest.name for pest in loaded.knowledge.pests.values()}
    terms.sort(key=lambda term: (-term.dollars, names.get(term.pest or "", "")))
    return WaitingCost(field.field_id, first_day, tuple(by_day.tolist()), tuple(terms))


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """One part of the cost on each day: chance, and bu/ac lost a day where there is a loss."""

    chance: FloatArray
    yield_loss: FloatArray
    risk: Callable[[int], PestRisk | OtherRisk | StandRisk]

    @property
    def loss(self) -> FloatArray:
        """Expected bu/ac a day."""
        return self.chance * self.yield_loss

    def term(self, index: int, *, area_acres: float, unit: float) -> WaitingTerm:
        """The part on a day; ``unit`` is $/bu at the field's yield."""
        chance, per_acre = float(self.chance[index]), unit * float(self.yield_loss[index])
        dollars = area_acres * chance * per_acre
        return WaitingTerm(self.risk(index), dollars, chance, per_acre)


class _DayTable:
    """Windows and stages at noon of every day, in every possible season.

    Columns are days: those asked for, and before them as many as count without a look.
    """

    def __init__(
        self, forecast: FieldForecast, first_day: dt.date, days: int, knowledge: Knowledge
    ) -> None:
        self.back = int(knowledge.waiting.arrival.most_days)
        self.days = days
        self.first = forecast.span.index(first_day)
        self._span = forecast.span
        self._noons = np.arange(self.first - self.back, self.first + days, dtype=np.float64) + NOON
        self._weights: FloatArray = forecast.weights / forecast.weights.sum()
        waiting, noons = knowledge.waiting, self._noons[self.back :]
        self._response = {
            leaf: self._weights[:, None] * _responses(forecast, noons, curve)
            for leaf, curve in ((False, waiting.response), (True, waiting.leaf.response))
        }
        self._known: dict[tuple[bytes | bool, ...], tuple[FloatArray, FloatArray]] = {}

    def date(self, index: int) -> dt.date:
        """A day asked for, by its place among them."""
        return self._span.first_day + dt.timedelta(days=self.first + index)

    def matters(self, window: ScoutingWindow) -> bool:
        """Whether a window may be open on one of the days asked for."""
        begins, ends = self._noons[self.back], self._noons[-1]
        return bool(window.open_times.min() <= ends and window.close_times.max() > begins)

    def open(
        self, windows: Sequence[ScoutingWindow], *, leaf: bool = False
    ) -> tuple[FloatArray, FloatArray]:
        """Whether any of some windows is open.

        Parameters
        ----------
        leaf: whether what they are for takes leaf.

        Returns
        -------
        share : ndarray, shape (back + days,)
            Of possible seasons in which one is.
        response : ndarray, shape (days,)
            Expected yield response where one is.

        Notes
        -----
        A window that misses some seasons does not say which; it is taken to be open in its share
        of them, whatever their stage. Many pests have the same window, so each is worked out once.
        """
        key: tuple[bytes | bool, ...] = (
            leaf,
            *(t.tobytes() for w in windows for t in (w.open_times, w.close_times)),
        )
        if key not in self._known:
            self._known[key] = self._open(windows, self._response[leaf])
        return self._known[key]

    def _open(
        self, windows: Sequence[ScoutingWindow], by_member: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        shut = np.ones((len(self._weights), len(self._noons)), dtype=np.bool_)
        besides = np.ones(len(self._noons))
        for window in windows:
            opens, closes = window.open_times[:, None], window.close_times[:, None]
            now_open = (opens <= self._noons) & (closes > self._noons)
            if len(now_open) == len(shut):
                shut &= ~now_open
            else:
                besides *= 1 - window.weights @ now_open
        share = 1 - (self._weights @ shut) * besides
        still_shut = np.einsum("md,md->d", by_member, shut[:, self.back :])
        response = by_member.sum(axis=0) - still_shut * besides[self.back :]
        # Sums of weights round: what is never open must be 0, not next to it.
        share = np.where(share > ROUNDING, share, 0.0)
        return share, np.where((share[self.back :] > 0) & (response > ROUNDING), response, 0.0)

    def open_days(self, share: FloatArray, looked: dt.date | None) -> FloatArray:
        """Expected open days after the last look, up to each day asked for; shape (days,)."""
        summed = np.concatenate(([0.0], np.cumsum(share)))
        ends = self.back + 1 + np.arange(self.days)
        begins = ends - self.back
        if looked is not None:
            after = self._span.index(looked) + 1 - (self.first - self.back)
            begins = np.maximum(begins, min(after, len(share)))
        return np.asarray(summed[ends] - summed[np.minimum(begins, ends)])


def _responses(
    forecast: FieldForecast, noons: FloatArray, curve: Mapping[CropEvent, Quantity]
) -> FloatArray:
    """Yield response at the stage of every member on every day; 0 outside the crop's season."""
    shares = {str(stage): float(share) for stage, share in curve.items()}
    by_stage = np.array([0.0, *(shares[stage] for stage in STAGES)], dtype=np.float64)
    reached = forecast.times[:, ::-1, None] <= noons
    stage = np.where(reached.any(axis=1), len(STAGES) - reached.argmax(axis=1), 0)
    return np.asarray(by_stage[stage] * (noons < forecast.span.days))


def _came(rate: float, days: FloatArray) -> FloatArray:
    """Probability that something came on so many days, at a rate per day."""
    return np.asarray(-np.expm1(-rate * days))


def _daily(knowledge: Knowledge) -> float:
    """Yield that a pest at its threshold takes in a day at full response, bu/ac."""
    loss = knowledge.waiting.loss
    return float(loss.at_threshold) / int(loss.feeding_days)


def _pests(
    plan: FieldDay, looks: FieldLooks, table: _DayTable, knowledge: Knowledge
) -> list[_Part]:
    """The part of every pest that may be about on one of the days."""
    windows: dict[str, list[ScoutingWindow]] = {}
    for window in plan.windows:
        if window.pest is not None and table.matters(window):
            windows.setdefault(window.pest, []).append(window)
    region = plan.forecast.field.region
    found = (_pest(pest, ours, region, looks, table, knowledge) for pest, ours in windows.items())
    return [part for part in found if part is not None]


def _pest(
    pest: str,
    windows: Sequence[ScoutingWindow],
    region: str,
    looks: FieldLooks,
    table: _DayTable,
    knowledge: Knowledge,
) -> _Part | None:
    leaf, about = knowledge.waiting.leaf.pests, knowledge.pests.get(pest)
    takes_leaf = pest in leaf or (about is not None and about.counted_with in leaf)
    share, response = table.open(windows, leaf=takes_leaf)
    if not response.any():
        return None
    rate, part = _rate(windows, table.date(0), knowledge)
    part *= knowledge.waiting.arrival.share_in(region)
    looked = looks.looked.get(pest)
    days = table.open_days(share, looked)
    by_look = looks.chance(pest, table.date(0), table.days)
    chance = 1 - (1 - by_look) * (1 - _came(float(rate) * part, days))

    seen, since = tuple(looks.standing(pest)), looks.treated_since(pest)

    def risk(index: int) -> PestRisk:
        return PestRisk(
            pest=pest,
            day=table.date(index),
            seen=seen,
            treated=looks.treated if since else None,
            came=Came(rate, part, float(days[index]), looked),
            by_look=float(by_look[index]),
            response=float(response[index]),
            unverified=any(window.unverified for window in windows),
        )

    return _Part(chance, response * _daily(knowledge), risk)


def _rate(
    windows: Sequence[ScoutingWindow], day: dt.date, knowledge: Knowledge
) -> tuple[Quantity, float]:
    """Chance of arrival per day by rank, and the share of it that the timing leaves.

    Of several windows that may be open the one that says most counts. A pest that has no place
    among those to look for does not come; what was seen of it still counts.
    """
    arrival = knowledge.waiting.arrival
    rates = []
    for window in windows:
        rank = window.rank_on(_ranked_on(window, day))
        untimed = window.timing in UNTIMED or window.unverified
        share = float(arrival.untimed_share) if untimed else 1.0
        rates.append((arrival.of_rank(rank or LATER), share if rank else 0.0))
    return max(rates, key=lambda rate: float(rate[0]) * rate[1])


def _ranked_on(window: ScoutingWindow, day: dt.date) -> dt.date:
    """The day for which a window is ranked: the first of the route, or its opening after that."""
    return max(day, window.opens.p50 or day)


def _other(plan: FieldDay, looks: FieldLooks, table: _DayTable, knowledge: Knowledge) -> _Part:
    """Anything else that may come while a critical window of the crop is open."""
    critical = [w for w in plan.windows if w.pest is None and w.critical and table.matters(w)]
    share, response = table.open(critical)
    rate = knowledge.waiting.arrival.unforeseen
    days = table.open_days(share, looks.last_visit)
    chance = _came(float(rate), days)

    def risk(index: int) -> OtherRisk:
        came = Came(rate, 1.0, float(days[index]), looks.last_visit)
        return OtherRisk(came, float(response[index]))

    return _Part(chance, response * _daily(knowledge), risk)


def _stand(plan: FieldDay, looks: FieldLooks, table: _DayTable, knowledge: Knowledge) -> _Part:
    """A missed look at the stand, while it can still be replanted."""
    rule = knowledge.waiting.stand
    ours = [w for w in plan.windows if w.pest is None and w.window == SEEDLING]
    share = table.open([w for w in ours if table.matters(w)])[0][table.back :]
    emerged, last = plan.forecast.stages["VE"].p50, looks.last_visit
    counted = None if plan.stand is None else plan.stand.date
    walked = last if emerged is not None and last is not None and last >= emerged else None
    seen = counted if walked is None else walked
    poor = float(rule.poor_chance) * (1.0 if seen is None else float(rule.seen_share))
    chance = np.full(table.days, poor)

    def risk(index: int) -> StandRisk:
        return StandRisk(float(share[index]), poor, seen)

    return _Part(chance, share * float(rule.replant_loss), risk)
