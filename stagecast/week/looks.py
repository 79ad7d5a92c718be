"""What was last seen of each pest of a field: when it was looked for, and how near its threshold.

This is the part of the cost of waiting that rests on visits; :mod:`stagecast.week.waiting`
states the whole formula.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.pool import named_by
from stagecast.counts.projection import GrowthRate, crossing_share, log_mean_sd
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.waiting import Noted
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.log.entries import LoggedVisit
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.look_for import looked_at
from stagecast.visits.pressure import Density, densities
from stagecast.visits.season_day import FieldDay

FloatArray = NDArray[np.float64]


SeenWhat = Density | DefoliationAssessment | Pressure
"""What was seen: counts beside their threshold, leaf loss, or a word for the pressure."""


@dataclass(frozen=True, slots=True)
class Seen:
    """How near its threshold a pest was when it was last looked for.

    Attributes
    ----------
    share: of the threshold.
    log_sd: standard error of the share's natural logarithm.
    growth: per day, held for ``furthest`` days.
    steady: A chance that stays as it is on all days: 1 where the counts were above the threshold;
        where none was found, that of being above all the same.
    """

    date: dt.date
    what: SeenWhat
    share: float
    log_sd: float
    growth: Quantity
    growth_sd: float
    furthest: int
    steady: float | None

    def chance(self, days_after: FloatArray) -> FloatArray:
        """Probability of being at the threshold or above, so many days after; shape kept."""
        if self.steady is not None:
            return np.full(days_after.shape, self.steady)
        return crossing_share(
            np.clip(days_after, 0.0, self.furthest),
            density=self.share,
            threshold=1.0,
            log_sd=self.log_sd,
            growth=GrowthRate(float(self.growth), self.growth_sd),
        )


@dataclass(slots=True)
class FieldLooks:
    """What the visits to a field say of its pests, by the pest's id.

    Attributes
    ----------
    treated: day and product of the last treatment. What was seen up to that day is not there any
        more, as the rule for the next visit has it.
    looked: the last day on which each pest was looked for.
    seen: what was seen on that day; several where it was counted in several units.
    """

    last_visit: dt.date | None
    treated: tuple[dt.date, str] | None
    looked: dict[str, dt.date] = field(default_factory=dict)
    seen: dict[str, list[Seen]] = field(default_factory=dict)

    def treated_since(self, pest: str) -> bool:
        """Whether all that was seen of a pest was seen before the field was treated."""
        if self.treated is None or pest not in self.seen:
            return False
        return self.seen[pest][0].date <= self.treated[0]

    def standing(self, pest: str) -> list[Seen]:
        """What was seen of a pest and not treated since."""
        return [] if self.treated_since(pest) else self.seen.get(pest, [])

    def over(self, pest: str) -> Seen | None:
        """A count of a pest at its threshold or over it, not treated since; None without any.

        However few the sets: a word for the pressure is no count.
        """
        counted = (one for one in self.standing(pest) if not isinstance(one.what, str))
        return next((one for one in counted if one.steady == 1 or one.share >= 1), None)

    def chance(self, pest: str, day: dt.date, days: int) -> FloatArray:
        """Probability, by the last look alone, of being at the threshold; shape (days,)."""
        found = self.standing(pest)
        if not found:
            return np.zeros(days)
        after = (day - found[0].date).days + np.arange(days, dtype=np.float64)
        return np.asarray(np.max([one.chance(after) for one in found], axis=0))


def field_looks(plan: FieldDay, loaded: LoadedSeason) -> FieldLooks:
    """Gather what the visits up to the day asked for say, the latest first.

    A count says something of the pests that it names: of a complex where it names a species, and
    of the species where it names the complex. A word for the pressure is a look at everything,
    and stands for a density of the pest that pressed most on that day; nothing older is asked.
    """
    field_id, as_of = plan.field_id, loaded.as_of
    log = plan.log.of_field(field_id).up_to(as_of)
    noted = [v for v in loaded.season.visits_of(field_id) if v.date <= as_of]
    word = max((v for v in noted if v.pressure), key=lambda v: v.date, default=None)
    last = max([*(v.date for v in noted), *(v.date for v in log.visits)], default=None)
    treatment = log.treatments[-1] if log.treatments else None
    treated = None if treatment is None else (treatment.applied_at.date(), treatment.product)
    looks = FieldLooks(last, treated)
    since = dt.date.min if word is None else word.date
    for visit in reversed(plan.counted_days.values()):
        if since <= visit.date <= as_of:
            _add_counts(looks, plan, visit, loaded)
    if word is not None:
        _add_word(looks, plan.windows, word, loaded.knowledge)
    return looks


def _add_counts(
    looks: FieldLooks, plan: FieldDay, visit: LoggedVisit, loaded: LoadedSeason
) -> None:
    """Add what a counted visit says of pests that no later one looked for."""
    knowledge = loaded.knowledge
    fresh = _with_kin(named_by(visit, knowledge), knowledge) - looks.looked.keys()
    if not fresh:
        return
    looks.looked |= dict.fromkeys(fresh, visit.date)
    found = plan.assess_day(visit.date)
    if found is None:
        return
    for density in densities(found, knowledge):
        pest = _window_pest(density.pest.id, plan.windows, knowledge)
        if pest in fresh:
            looks.seen.setdefault(pest, []).append(_seen(density, visit.date, knowledge))
    leaves = knowledge.decisions.leaf_loss.pest
    leaf_loss = _leaf_loss(found.defoliation, visit.date, knowledge)
    if leaf_loss is not None and leaves in fresh:
        looks.seen.setdefault(leaves, []).append(leaf_loss)


def _with_kin(named: frozenset[str], knowledge: Knowledge) -> frozenset[str]:
    """Pests that are looked for where some are named: these, their complexes and their species."""

    def found() -> frozenset[str]:
        pests = knowledge.pests.values()
        species = {pest.id for pest in pests if pest.counted_with in named}
        complexes = {p.counted_with for p in pests if p.id in named and p.counted_with is not None}
        return named | species | complexes

    return knowledge.once(("with kin", named), found)


def _window_pest(pest: str, windows: Sequence[ScoutingWindow], knowledge: Knowledge) -> str:
    """The pest whose windows speak of one counted: its own, else those of its complex."""
    if any(w.pest == pest for w in windows):
        return pest
    return knowledge.pests[pest].counted_with or pest


def _seen(one: Density, date: dt.date, knowledge: Knowledge) -> Seen:
    share = one.mean / one.threshold
    steady = 1.0 if one.above else None
    if steady is None and share <= 0:
        steady = one.p_above or 0.0
    log_sd = None
    if one.k is not None and one.mean > 0:
        log_sd = log_mean_sd(one.mean, k=one.k, sets=one.sets)
    return _grows(date, one, share, one.rate, knowledge, steady=steady, log_sd=log_sd)


def _leaf_loss(
    found: DefoliationAssessment | None, date: dt.date, knowledge: Knowledge
) -> Seen | None:
    """The leaf loss that was judged, where a threshold speaks of it."""
    if found is None or found.share is None or found.threshold is None:
        return None
    steady = 1.0 if found.answer == "above" else 0.0 if found.share <= 0 else None
    rate = knowledge.decisions.growth.per_day
    return _grows(date, found, found.share, rate, knowledge, steady=steady)


def _add_word(
    looks: FieldLooks, windows: Sequence[ScoutingWindow], word: Visit, knowledge: Knowledge
) -> None:
    """Add the word of a visit, unless something was counted on the same day."""
    counted = word.date in looks.looked.values()
    pressed = _most_pressing(windows, word.date)
    if pressed is not None and pressed not in looks.looked and not counted and word.pressure:
        share = _noted_share(word.pressure, knowledge.waiting.noted)
        rate = knowledge.pests[pressed].known_growth or knowledge.decisions.growth.per_day
        looks.seen[pressed] = [_grows(word.date, word.pressure, share, rate, knowledge)]
    for pest in knowledge.pests:
        looks.looked.setdefault(pest, word.date)


def _most_pressing(windows: Sequence[ScoutingWindow], day: dt.date) -> str | None:
    """The pest that comes first among those whose windows are open on a day."""
    return next((w.pest for w in looked_at(windows, day) if w.pest is not None), None)


def _noted_share(pressure: Pressure, noted: Noted) -> float:
    """Share of the threshold that a word stands for."""
    shares = {
        "near threshold": noted.near_threshold,
        "some": noted.some,
        "virtually none": noted.virtually_none,
    }
    return float(shares[pressure])


def _grows(
    date: dt.date,
    what: SeenWhat,
    share: float,
    rate: Quantity,
    knowledge: Knowledge,
    *,
    steady: float | None = None,
    log_sd: float | None = None,
) -> Seen:
    """What was seen and how it may grow; what is judged and not counted is as unsure as a word."""
    rule = knowledge.decisions.growth
    error = float(knowledge.waiting.noted.log_sd) if log_sd is None else log_sd
    return Seen(date, what, share, error, rate, float(rule.sd), int(rule.furthest), steady)
