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
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.knowledge.quantities import Quantity
from stagecast.pests.windows import SEEDLING, ScoutingWindow
from stagecast.season.settings.workday import Money
from stagecast.visits.season_day import FieldDay
from stagecast.week.day_table import DayTable
from stagecast.week.looks import FieldLooks, Seen, field_looks

FloatArray = NDArray[np.float64]

ALIKE = 9
"""Decimals of a dollar in which two terms that come first by name are the same."""

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
    table = DayTable(plan, first_day, days, loaded.knowledge)
    looks = field_looks(plan, loaded)
    unit = money.price * money.crop_yield / float(loaded.knowledge.waiting.loss.reference_yield)
    parts = _parts(plan, looks, table, loaded.knowledge)
    losses = np.array([part.chance * part.yield_loss for part in parts])
    by_day = (field.area_acres * unit * losses).sum(axis=0)
    costs = np.flatnonzero(by_day > 0)
    shown = int(costs[0]) if costs.size else 0
    terms = [
        part.term(shown, area_acres=field.area_acres, unit=unit)
        for part, loss in zip(parts, losses[:, shown].tolist(), strict=True)
        if loss > 0
    ]
    names = {pest.id: pest.name for pest in loaded.knowledge.pests.values()}
    terms.sort(key=lambda term: (-round(term.dollars, ALIKE), names.get(term.pest or "", "")))
    return WaitingCost(field.field_id, first_day, tuple(by_day.tolist()), tuple(terms))


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """One part of the cost on each day: chance, and bu/ac lost a day where there is a loss."""

    chance: FloatArray
    yield_loss: FloatArray
    risk: Callable[[int], PestRisk | OtherRisk | StandRisk]

    def term(self, index: int, *, area_acres: float, unit: float) -> WaitingTerm:
        """The part on a day; ``unit`` is $/bu at the field's yield."""
        chance, per_acre = float(self.chance[index]), unit * float(self.yield_loss[index])
        dollars = area_acres * chance * per_acre
        return WaitingTerm(self.risk(index), dollars, chance, per_acre)


def _came(rate: float | FloatArray, days: FloatArray) -> FloatArray:
    """Probability that something came on so many days, at a rate per day."""
    return np.asarray(-np.expm1(-rate * days))


def _daily(knowledge: Knowledge) -> float:
    """Yield that a pest at its threshold takes in a day at full response, bu/ac."""
    loss = knowledge.waiting.loss
    return float(loss.at_threshold) / int(loss.feeding_days)


def _parts(plan: FieldDay, looks: FieldLooks, table: DayTable, knowledge: Knowledge) -> list[_Part]:
    """The part of every pest that may be about on one of the days, of anything else, of the stand.

    All windows are looked at together.
    """
    by_pest: dict[str, list[ScoutingWindow]] = {}
    critical, seedling = [], []
    for window in table.that_matter(plan.windows):
        if window.pest is not None:
            by_pest.setdefault(window.pest, []).append(window)
            continue
        critical += [window] if window.critical else []
        seedling += [window] if window.window == SEEDLING else []
    share, response = table.open(
        [critical, seedling, *by_pest.values()],
        leaf=[False, False, *(_takes_leaf(pest, knowledge) for pest in by_pest)],
    )
    looked = [looks.last_visit, None, *(looks.looked.get(pest) for pest in by_pest)]
    days = table.open_days(share, looked)
    return [
        *_pests(by_pest, response[2:], days[2:], plan, looks, table, knowledge),
        _other(response[0], days[0], looks.last_visit, knowledge),
        _stand(share[1, table.back :], plan, looks.last_visit, knowledge),
    ]


def _takes_leaf(pest: str, knowledge: Knowledge) -> bool:
    leaf, about = knowledge.waiting.leaf.pests, knowledge.pests.get(pest)
    return pest in leaf or (about is not None and about.counted_with in leaf)


def _pests(
    by_pest: Mapping[str, Sequence[ScoutingWindow]],
    response: FloatArray,
    days: FloatArray,
    plan: FieldDay,
    looks: FieldLooks,
    table: DayTable,
    knowledge: Knowledge,
) -> Iterator[_Part]:
    """The parts of pests; response, and open days without a look, have shape (pests, days)."""
    day = table.date(0)
    here = knowledge.waiting.arrival.share_in(plan.forecast.field.region)
    rates = [_rate(windows, day, knowledge) for windows in by_pest.values()]
    parts = [part * here for _, part in rates]
    daily = np.array([float(rate) * part for (rate, _), part in zip(rates, parts, strict=True)])
    by_look = np.array([looks.chance(pest, day, table.days) for pest in by_pest])
    by_look = by_look.reshape(days.shape)
    chance = 1 - (1 - by_look) * (1 - _came(daily[:, None], days))
    yield_loss = response * _daily(knowledge)

    def risk(row: int, index: int) -> PestRisk:
        pest, windows = pests[row]
        return PestRisk(
            pest=pest,
            day=table.date(index),
            seen=tuple(looks.standing(pest)),
            treated=looks.treated if looks.treated_since(pest) else None,
            came=Came(rates[row][0], parts[row], float(days[row, index]), looks.looked.get(pest)),
            by_look=float(by_look[row, index]),
            response=float(response[row, index]),
            unverified=any(window.unverified for window in windows),
        )

    pests = list(by_pest.items())
    for row in np.flatnonzero(response.any(axis=1)).tolist():
        yield _Part(chance[row], yield_loss[row], partial(risk, row))


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


def _other(
    response: FloatArray, days: FloatArray, last: dt.date | None, knowledge: Knowledge
) -> _Part:
    """Anything else that may come while a critical window of the crop is open."""
    rate = knowledge.waiting.arrival.unforeseen

    def risk(index: int) -> OtherRisk:
        came = Came(rate, 1.0, float(days[index]), last)
        return OtherRisk(came, float(response[index]))

    return _Part(_came(float(rate), days), response * _daily(knowledge), risk)


def _stand(share: FloatArray, plan: FieldDay, last: dt.date | None, knowledge: Knowledge) -> _Part:
    """A missed look at the stand, while it can still be replanted."""
    rule = knowledge.waiting.stand
    emerged = plan.forecast.stages["VE"].p50
    counted = None if plan.stand is None else plan.stand.date
    walked = last if emerged is not None and last is not None and last >= emerged else None
    seen = counted if walked is None else walked
    poor = float(rule.poor_chance) * (1.0 if seen is None else float(rule.seen_share))

    def risk(index: int) -> StandRisk:
        return StandRisk(float(share[index]), poor, seen)

    return _Part(np.full(share.shape, poor), share * float(rule.replant_loss), risk)
